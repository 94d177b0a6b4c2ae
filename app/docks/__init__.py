"""The panels around the tiles: treatment, standing, curves, help."""
