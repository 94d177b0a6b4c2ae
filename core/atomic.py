"""Files that are either the old ones or the new ones, never half of each."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from core.errors import FileProblem, LowreliefError

_NUMBER = re.compile(r"\berrno = (\d+)")


@contextmanager
def atomic(path: str | os.PathLike[str]) -> Iterator[Path]:
    """A temporary file beside `path` that takes its place when the block ends well.

    Write to the path that is handed out, close it, leave the block: the bytes are flushed to the disk and renamed.
    After an error inside the block the temporary file is gone and `path` is what it was before, or still absent.

    Parameters
    ----------
    path : path
        Where the finished file shall stand. Its folder must exist. A link is followed: the file behind it is replaced.

    Yields
    ------
    pathlib.Path
        A name of its own in the same folder, with the same suffix. Nothing stands there yet.

    Raises
    ------
    FileProblem
        If the folder is not there, `path` is a folder, or the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     sheet = Path(folder) / "sheet.csv"
    ...     with atomic(sheet) as temporary:
    ...         _ = temporary.write_text("name,Sq\\n")
    ...     sheet.read_text()
    'name,Sq\\n'
    """
    target = _checked(Path(path))
    # The suffix stays last: some libraries choose what to write by it.
    temporary = target.with_name(f".{target.stem[:100]}.{secrets.token_hex(4)}{target.suffix}")
    try:
        yield temporary
        _flush(temporary)
        temporary.replace(target)
        _flush_folder(target.parent)
    except LowreliefError:
        raise
    except Exception as error:
        refused = _of_the_system(error)
        if refused is None:
            raise
        reason = refused.strerror or str(refused)
        raise FileProblem(
            f"The file cannot be written: {reason}", where=str(path), fix="Choose another place or free some room."
        ) from error
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def _checked(path: Path) -> Path:
    try:
        target = path.resolve()
        folder, placed = target.is_dir(), target.parent.is_dir()
    except (OSError, ValueError, RuntimeError) as error:
        raise FileProblem(
            f"This is no place for a file: {error}", where=repr(str(path)), fix="Choose another."
        ) from error
    if folder:
        raise FileProblem("This is a folder, not a file", where=str(path), fix="Add the name of a file.")
    if not placed:
        raise FileProblem("The folder is not there", where=str(target.parent), fix="Make the folder first.")
    return target


def _of_the_system(error: BaseException | None) -> OSError | None:
    """The error of the system behind that of a library, which may have made another class of it; None if there is none.

    A full disk comes out of HDF5 as a `RuntimeError` with the number in its text, and out of other writers as a class
    of its own.
    """
    while error is not None:
        if isinstance(error, OSError):
            return error
        number = _NUMBER.search(str(error)) if isinstance(error, RuntimeError) else None
        if number:
            return OSError(int(number[1]), os.strerror(int(number[1])))
        error = error.__cause__ or error.__context__
    return None


def _flush(path: Path) -> None:
    """Ask the disk to hold the bytes before the name points at them: a power cut must not leave an empty file."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    """Make the new name itself lasting where the system can open a folder; elsewhere the rename has to do."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
