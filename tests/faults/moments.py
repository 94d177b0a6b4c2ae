"""An act ended at a moment that it did not choose: killed, out of room, or refused by the disk.

The act runs in a forked child with everything imported already, so that a case takes milliseconds. Three ways:

- *kill*: SIGKILL after a random share of the time that the act takes.
- *full*: the system lets no file grow beyond a random size (``RLIMIT_FSIZE``); whoever writes on, Python or a C
  library, gets a short write and then an error, as on a full disk.
- *failing*: the nth call of ``os.fsync``, ``os.replace`` or ``os.rename`` fails with ENOSPC, EIO or EROFS.

Power cuts are not tried: what the disk keeps of unflushed bytes cannot be shown by a program. `core.atomic` flushes the
bytes before the name points at them, and the name after.
"""

from __future__ import annotations

import errno
import os
import random
import signal
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from core.errors import LowreliefError

WAYS = ("kill", "full", "failing")
DONE, REFUSED, WRONG = 0, 10, 11


@dataclass(frozen=True, slots=True)
class Ended:
    """How an act ended: ``done``, ``refused`` (by an error of the package), ``killed``, or ``wrong`` and why."""

    how: str
    told: str = ""


def ended(act: Callable[[], object], way: str, rng: random.Random, takes: float, largest: int, notes: Path) -> Ended:
    """Run an act in a child and end it.

    Parameters
    ----------
    act : callable
        What is done.
    way : {"kill", "full", "failing"}
        How it is ended.
    rng : random.Random
        Chooses the moment.
    takes : float
        Seconds that the whole act takes.
    largest : int
        Bytes of the largest file that it writes.
    notes : Path
        A file for what the child has to tell.
    """
    room, wait = rng.randrange(largest + 1), rng.random() * takes * 1.2
    fault = (
        rng.choice(("fsync", "replace", "rename")),
        rng.randrange(3),
        rng.choice((errno.ENOSPC, errno.EIO, errno.EROFS)),
    )
    notes.write_text("", encoding="utf-8")
    child = os.fork()
    if child == 0:
        _in_child(act, way, room, fault, notes)
    if way == "kill":
        time.sleep(wait)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        killed = os.WTERMSIG(status) == signal.SIGKILL and way == "kill"
        return Ended("killed") if killed else Ended("wrong", f"signal {os.WTERMSIG(status)}")
    how = {DONE: "done", REFUSED: "refused"}.get(os.WEXITSTATUS(status), "wrong")
    return Ended(how, notes.read_text(encoding="utf-8"))


def _in_child(act: Callable[[], object], way: str, room: int, fault: tuple[str, int, int], notes: Path) -> None:
    """Never returns."""
    status, told = WRONG, ""
    try:
        if way == "full":
            import resource

            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
        elif way == "failing":
            _break(*fault)
        act()
        status = DONE
    except LowreliefError as error:
        status, told = REFUSED, str(error)
    except BaseException:  # noqa: BLE001  what an act lets out is what is looked for
        told = traceback.format_exc()
    finally:
        if way == "full":
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        notes.write_text(told, encoding="utf-8")
        os._exit(status)


def _break(name: str, nth: int, number: int) -> None:
    """The nth call of a function of the system fails from now on."""
    real, calls = getattr(os, name), [0]

    def failing(*arguments: object, **named: object) -> object:
        calls[0] += 1
        if calls[0] > nth:
            raise OSError(number, os.strerror(number))
        return real(*arguments, **named)

    setattr(os, name, failing)
