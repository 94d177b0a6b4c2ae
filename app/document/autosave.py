"""What is on the bench survives a crash, a kill or a power cut.

Each running window has a folder of its own with a lock. The maps go to a bench file, written only when scans came or
went; everything else (treatment, scale, names) goes to a small file beside it after every change. A window that closes
takes its folder away; a folder whose lock nobody holds belongs to a window that did not.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QLockFile, QObject, QTimer

from app.document.document import Document
from app.document.jobs import Jobs
from app.shell.notices import Notices
from core.atomic import atomic
from core.bench import Bench, Stated
from core.errors import BenchError
from core.heightmap import HeightMap
from core.scale import Scale
from core.treatment import Treatment

DELAY = 800  # ms of quiet after a change
MAPS, ACTS, LOCK = "maps.h5", "acts.json", "lock"


def autosave_folder() -> Path:
    """Where the folders of the windows are, in the user's data."""
    from platformdirs import user_data_path

    return user_data_path("lowrelief", appauthor=False) / "autosave"


class Autosave(QObject):
    """Keeps the document of one window."""

    def __init__(self, document: Document, folder: Path) -> None:
        super().__init__(document)
        self._document, self._root = document, folder
        self.folder = folder / f"{os.getpid()}-{secrets.token_hex(4)}"
        self._lock: QLockFile | None = None
        self._jobs = Jobs(1, self)
        self._kept: tuple[HeightMap, ...] = ()
        self._told = False
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(DELAY)
        self._timer.timeout.connect(self.keep)
        document.bench_changed.connect(self._timer.start)

    @property
    def idle(self) -> bool:
        """Whether everything is on the disk."""
        return not self._timer.isActive() and self._jobs.idle

    def keep(self) -> None:
        """Write what changed, in the background; a write that is still running is waited for."""
        self._timer.stop()
        if not self._jobs.idle:
            self._timer.start()
            return
        bench = self._document.bench
        if not bench.scans and not self._kept:
            return
        self._own_folder()
        maps = tuple(scan.raw for scan in bench.scans)
        fresh = len(maps) != len(self._kept) or any(a is not b for a, b in zip(maps, self._kept, strict=True))
        folder = self.folder
        self._jobs.start(
            lambda _: _write(bench, folder, maps=fresh),
            done=lambda _: setattr(self, "_kept", maps),
            failed=self._failed,
        )

    def end(self) -> None:
        """The window closes as it should: nothing has to be kept."""
        self._timer.stop()
        self._jobs.shut()
        if self._lock is not None:
            self._lock.unlock()
            self._lock = None
            shutil.rmtree(self.folder, ignore_errors=True)

    def lost(self) -> list[Path]:
        """Folders of windows that did not end as they should, the latest first."""
        found = self._root.glob(f"*/{ACTS}") if self._root.is_dir() else []
        latest = sorted(found, key=lambda acts: acts.stat().st_mtime, reverse=True)
        return [acts.parent for acts in latest if acts.parent != self.folder and _unlocked(acts.parent)]

    def offer_lost(self, notices: Notices) -> None:
        """Offer to bring back what a crash left: one notice, however many windows there were."""
        lost = self.lost()
        if not lost:
            return
        scans = _count(lost[0])
        times = f" {len(lost)} times" if len(lost) > 1 else ""
        notices.tell(
            "amber",
            f"Lowrelief ended unexpectedly{times}. The bench{' of the last time' if times else ''} was kept: "
            f"{scans} scan{'s'[: scans != 1]}.",
            [
                ("Bring it back", partial(self._recover, lost[0])),
                ("Discard all" if times else "Discard", partial(_forget, *lost)),
            ],
        )

    def _recover(self, folder: Path) -> None:
        self._document.recover(partial(read_kept, folder), partial(self._recovered, folder))

    def _recovered(self, folder: Path) -> None:
        """What was brought back is kept by this window first; only then the old folder goes."""
        self.keep()
        self._jobs.start(lambda _: _forget(folder), done=lambda _: None, failed=self._failed)

    def _own_folder(self) -> None:
        if self._lock is None:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._lock = QLockFile(str(self.folder / LOCK))
            self._lock.setStaleLockTime(0)
            self._lock.tryLock(0)

    def _failed(self, error: Exception) -> None:
        if not self._told:  # a full disk is said once, not after every change
            self._told = True
            self._document.noticed.emit("amber", f"The bench cannot be kept against a crash: {error}")


def read_kept(folder: Path) -> Bench:
    """The bench that was kept in a folder."""
    from core.benchfile import load

    try:
        acts: dict[str, Any] = json.loads((folder / ACTS).read_text(encoding="utf-8"))
        bench = load(folder / MAPS)
        places = acts["scans"]
        return replace(
            bench,
            title=acts["title"],
            scans=tuple(
                replace(scan, specimen=places[scan.name][0], spot=places[scan.name][1])
                for scan in bench.scans
                if scan.name in places
            ),
            treatment=Treatment.from_toml(acts["treatment"]),
            rank_by=acts["rank_by"],
            scale=Scale(**acts["scale"]),
            **_claims_and_repeats(acts, bench),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BenchError("What was kept cannot be read", where=str(folder), fix=f"Discard it. ({error})") from error


def _claims_and_repeats(acts: dict[str, Any], bench: Bench) -> dict[str, Any]:
    """Of the acts where they say it; folders of before they did have it with the maps."""
    names = {scan.name for scan in bench.scans} & set(acts["scans"])
    repeats = acts.get("repeats", bench.repeats)
    return {
        "claims": tuple(Stated(**claim) for claim in acts["claims"]) if "claims" in acts else bench.claims,
        "claim_rule": str(acts.get("claim_rule", bench.claim_rule)),
        "repeats": tuple(tuple(group) for group in repeats if names.issuperset(group)),
    }


def _write(bench: Bench, folder: Path, *, maps: bool) -> None:
    if maps:
        from core.benchfile import save

        save(bench, folder / MAPS)
    acts = {
        "title": bench.title,
        "scans": {scan.name: [scan.specimen, scan.spot] for scan in bench.scans},
        "treatment": bench.treatment.to_toml(),
        "rank_by": bench.rank_by,
        "scale": asdict(bench.scale),
        "claims": [asdict(claim) for claim in bench.claims],
        "claim_rule": bench.claim_rule,
        "repeats": bench.repeats,
    }
    with atomic(folder / ACTS) as temporary:
        temporary.write_text(json.dumps(acts, ensure_ascii=False), encoding="utf-8")


def _unlocked(folder: Path) -> bool:
    lock = QLockFile(str(folder / LOCK))
    lock.setStaleLockTime(0)
    if not lock.tryLock(0):
        return False
    lock.unlock()
    return True


def _count(folder: Path) -> int:
    try:
        return len(json.loads((folder / ACTS).read_text(encoding="utf-8"))["scans"])
    except (OSError, ValueError, KeyError, TypeError):
        return 0


def _forget(*folders: Path) -> None:
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)
