"""Is it good enough: claims, bumps, virtual particles, crystal steps, standards."""
