"""The bench being worked on: changes with undo, files read and comparisons run in the background."""
