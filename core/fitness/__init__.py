"""Fitness: is a surface good enough? Claims of vendors, bumps, the probe, virtual particles, crystal steps, calibration."""
