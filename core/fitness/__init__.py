"""Fitness: is a surface good enough? Claims, bumps, the probe, virtual particles, crystal steps, calibration."""
