"""Where things of this user are kept between days."""

from __future__ import annotations

from pathlib import Path

from core.formats.layouts import Layout, load_folder


def _folder() -> Path:
    from platformdirs import user_data_path

    return user_data_path("lowrelief")


def log_file() -> Path:
    """The log."""
    return _folder() / "log.sqlite"


def layouts_folder() -> Path:
    """The layouts of files of no open standard, one TOML each; put one there to have it."""
    return _folder() / "layouts"


def kept_layouts() -> list[Layout]:
    """The layouts in that folder; those that cannot be read are passed over here and told where they are edited."""
    return load_folder(layouts_folder())[0]
