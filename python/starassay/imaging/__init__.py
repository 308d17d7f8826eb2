"""Frames: what a camera gives, read through Astropy, calibrated by the engine."""
