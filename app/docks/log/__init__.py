"""The log of readings and noise floors over months."""
