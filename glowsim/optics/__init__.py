"""Optics and photometry: formulae only. Arrays in, arrays out; no meshes, no user files.

fresnel      reflection and refraction at a smooth face, for a ray and for diffuse light
boundary     the coefficient A of diffusion theory at such a face
phase        directions of scattered light
diffusion    closed solutions of the diffusion equation: point, sphere, slab, hollow sphere
slab         reflectance and transmittance of a wall, thick or thin, cloudy or clear
exact        exact solutions of the transport equation, the yardstick of the others
photometry   intensity, flux, illuminance, luminance
vision       what the eye makes of it: glare, contrast sensitivity, looking lit
viewfactors  the share of diffuse light that one surface sends to another
colour       the standard observer, LED spectra, black bodies, lightness
srgb         from tristimulus values to a screen
"""
