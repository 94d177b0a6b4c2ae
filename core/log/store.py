"""The log's file: SQLite, one writer at a time, readers never blocked, whole after a crash.

Several windows may hold it open: every act is one short transaction, waited for up to ten seconds. The file carries an
integer schema (``user_version``); older ones are brought up step by step, newer ones are refused and left alone.

Reference: SQLite file format and locking, sqlite.org/lockingv3.html.
"""

from __future__ import annotations

import dataclasses
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from core.errors import FileProblem, LogError
from core.log.entry import LogEntry

SCHEMA = 1
PATIENCE = 10.0  # seconds that one window waits for another

COLUMNS = tuple(field.name for field in dataclasses.fields(LogEntry))

_SCHEMAS = {
    1: """
        CREATE TABLE entry (
            id INTEGER PRIMARY KEY,
            at TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL, symbol TEXT NOT NULL,
            value REAL NOT NULL, unit TEXT NOT NULL, low REAL, high REAL, n INTEGER NOT NULL,
            shortest REAL, longest REAL, treatment TEXT NOT NULL,
            instrument TEXT NOT NULL, probe TEXT NOT NULL, note TEXT NOT NULL, sha256 TEXT NOT NULL,
            UNIQUE (at, kind, subject, symbol, value, treatment, instrument, probe, sha256)
        );
        CREATE INDEX entry_by_series ON entry (kind, subject, symbol, at);
    """,
}
"""What takes the file from the schema before to this one."""


class Log:
    """The entries in one file.

    Parameters
    ----------
    path : str or Path
        The file; made, with its folder, when the first entry is added.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     log = Log(Path(folder) / "log.sqlite")
    ...     day = LogEntry(at="2024-05-01", kind="floor", subject="mica", symbol="noise", value=4e-11, unit="m")
    ...     log.add([day, day]), log.entries()[0].value, log.series()
    (1, 4e-11, [('floor', 'mica', 'noise')])
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)

    def add(self, entries: Iterable[LogEntry]) -> int:
        """Keep entries; those that are there already are passed over.

        Returns
        -------
        int
            How many are new.

        Raises
        ------
        FileProblem
            If the file cannot be written.
        LogError
            If it is no log, or of a newer version.
        """
        rows = [dataclasses.astuple(entry) for entry in entries]
        places = ", ".join("?" * len(COLUMNS))
        with self._open(write=True) as file:
            before = file.total_changes
            file.executemany(f"INSERT OR IGNORE INTO entry ({', '.join(COLUMNS)}) VALUES ({places})", rows)
            return file.total_changes - before

    def entries(
        self,
        *,
        kind: str | None = None,
        subject: str | None = None,
        symbol: str | None = None,
        instrument: str | None = None,
        probe: str | None = None,
    ) -> list[LogEntry]:
        """The entries that agree with everything that is said, oldest first.

        Raises
        ------
        FileProblem
            If the file cannot be read.
        LogError
            If it is no log, or of a newer version.
        """
        wanted = {"kind": kind, "subject": subject, "symbol": symbol, "instrument": instrument, "probe": probe}
        said = {column: value for column, value in wanted.items() if value is not None}
        if not self.path.exists():
            return []
        where = " AND ".join(f"{column} = ?" for column in said)
        query = f"SELECT {', '.join(COLUMNS)} FROM entry {'WHERE ' + where if where else ''} ORDER BY id"
        with self._open(write=False) as file:
            found = [LogEntry(**dict(zip(COLUMNS, row, strict=True))) for row in file.execute(query, [*said.values()])]
        return sorted(found, key=lambda entry: entry.moment)

    def series(self) -> list[tuple[str, str, str]]:
        """What can be charted: kind, subject and symbol, by name."""
        if not self.path.exists():
            return []
        with self._open(write=False) as file:
            rows = file.execute("SELECT DISTINCT kind, subject, symbol FROM entry ORDER BY kind, subject, symbol")
            return [(str(kind), str(subject), str(symbol)) for kind, subject, symbol in rows]

    def remove(self, entries: Iterable[LogEntry]) -> int:
        """Forget entries; says how many there were."""
        # IS also finds NULL, where = does not.
        where = " AND ".join(f"{column} IS ?" for column in COLUMNS)
        with self._open(write=True) as file:
            before = file.total_changes
            file.executemany(f"DELETE FROM entry WHERE {where}", [dataclasses.astuple(entry) for entry in entries])
            return file.total_changes - before

    @contextmanager
    def _open(self, *, write: bool) -> Iterator[sqlite3.Connection]:
        """One transaction; whatever the library meets is said with the file's name."""
        try:
            if write:
                self.path.parent.mkdir(parents=True, exist_ok=True)
            with closing(sqlite3.connect(self.path, timeout=PATIENCE, isolation_level=None)) as file:
                self._bring_up(file)
                file.execute("BEGIN IMMEDIATE" if write else "BEGIN")
                try:
                    yield file
                except BaseException:
                    file.execute("ROLLBACK")
                    raise
                file.execute("COMMIT")
        except sqlite3.OperationalError as error:
            raise FileProblem(
                f"The log cannot be used: {error}", where=str(self.path), fix="Close other programs that hold it."
            ) from error
        except sqlite3.DatabaseError as error:
            raise LogError(
                f"This is no log: {error}", where=str(self.path), fix="Move the file away; a new one is begun."
            ) from error
        except (FileProblem, LogError):
            raise
        except (ValueError, TypeError, KeyError) as error:
            raise LogError(
                f"The log is damaged: {error}", where=str(self.path), fix="Move the file away; a new one is begun."
            ) from error
        except OSError as error:
            raise FileProblem(f"The log cannot be used: {error.strerror or error}", where=str(self.path)) from error

    def _bring_up(self, file: sqlite3.Connection) -> None:
        """An empty or older file to today's schema, in one transaction; two windows may try at once."""
        if _version(file) == SCHEMA:
            return
        if _version(file) > SCHEMA:
            raise LogError(
                f"The log has schema {_version(file)}, this program reads up to {SCHEMA}",
                where=str(self.path),
                fix="Use a newer version of Lowrelief.",
            )
        file.execute("BEGIN IMMEDIATE")
        try:
            version = _version(file)  # another window may have been faster
            for step in range(version + 1, SCHEMA + 1):
                for statement in filter(str.strip, _SCHEMAS[step].split(";")):
                    file.execute(statement)
            file.execute(f"PRAGMA user_version = {SCHEMA}")
        except BaseException:
            file.execute("ROLLBACK")
            raise
        file.execute("COMMIT")


def _version(file: sqlite3.Connection) -> int:
    return int(file.execute("PRAGMA user_version").fetchone()[0])
