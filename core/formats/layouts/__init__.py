"""Layouts: how a file of no open standard is laid out, described by its user in a small TOML text.

A layout says where the numbers stand, of which type and in which order, how tall one count is, and how far apart the
points are. What changes from file to file is not written into it but found in the file's header: *the number after
“Samples per line:”*. With the layout at hand such files are read like any other.
"""

from core.formats.layouts.guess import Guess, guess
from core.formats.layouts.header import After
from core.formats.layouts.layout import ChannelLayout, Layout, load_folder
from core.formats.layouts.reader import preview, read_channels

__all__ = ["After", "ChannelLayout", "Guess", "Layout", "guess", "load_folder", "preview", "read_channels"]
