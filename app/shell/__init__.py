"""The frame of the window: bar, status line, docks in their places, notices, drops."""
