"""Moves light from the LEDs to the surface."""
