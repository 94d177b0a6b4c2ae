"""The one pipeline: bench → comparison. Window, command line and tests all call it."""
