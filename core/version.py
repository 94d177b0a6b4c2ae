"""The program's version: the one place that says it."""

VERSION = "0.1.0"
