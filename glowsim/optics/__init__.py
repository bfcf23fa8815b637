"""Optics and photometry: formulae only. Arrays in, arrays out; no meshes, no user files.

fresnel      reflection and refraction at a smooth face, for a ray and for diffuse light
boundary     the coefficient A of diffusion theory at such a face
phase        the forward peak of scattered light split off
diffusion    the coefficients of the diffusion equation
slab         reflectance and transmittance of a wall, thick or thin, cloudy or clear
exact        exact solutions of the transport equation, the yardstick of the others
photometry   beams and luminance
vision       what the eye makes of it: glare
colour       the standard observer, LED spectra, black bodies, lightness
srgb         from tristimulus values to a screen
"""
