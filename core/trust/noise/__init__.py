"""Noise: its floor from repeats and references, what is left of a reading without it, and what of a texture repeats."""
