"""From results to what tiles and tables show: formatting only."""
