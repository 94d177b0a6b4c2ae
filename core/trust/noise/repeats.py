"""Which scans show one place again and which are references: told by sidecar, file or user, never guessed."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path

from core.bench import Scan
from core.errors import BenchError

Groups = tuple[tuple[str, ...], ...]
"""Names of scans of one place, in bench order, two or more each; no scan is in two groups."""

REFERENCE = "reference"
"""Value of the key ``role`` that marks a scan of size zero or of a crystal that should be smooth."""

_DIRECTION = re.compile(r"(re)?trace", re.IGNORECASE)


def pairs_of_repeats(scans: Sequence[Scan], repeats: Iterable[Collection[str]] = ()) -> Groups:
    """The groups of scans that show one place.

    Parameters
    ----------
    scans : sequence of Scan
        As on the bench.
    repeats : iterable of collection of str
        Groups that the user named. Names that are not on the bench (any more) are passed over.

    Returns
    -------
    tuple of tuple of str
        What the user named, and every trace with its retrace: of one specimen, one lattice, and one spot, one file or
        names that differ in the direction alone.
    """
    order = {scan.name: number for number, scan in enumerate(scans)}
    named = [{name for name in group if name in order} for group in repeats]
    groups: list[set[str]] = []
    for group in (*named, *_traces(scans)):
        touching = [other for other in groups if other & group]
        groups = [other for other in groups if not other & group]
        groups.append(group.union(*touching))
    told = [tuple(sorted(group, key=order.__getitem__)) for group in groups if len(group) > 1]
    return tuple(sorted(told, key=lambda group: order[group[0]]))


def references(scans: Iterable[Scan]) -> tuple[str, ...]:
    """Names of the scans that are marked as references."""
    return tuple(scan.name for scan in scans if is_reference(scan.raw.metadata))


def is_reference(metadata: Mapping[str, object]) -> bool:
    """Whether a scan is marked ``role = "reference"``."""
    return str(metadata.get("role", "")).strip().lower() == REFERENCE


def is_retrace(scans: Sequence[Scan], group: Collection[str]) -> bool:
    """Whether a group is a trace and its retrace, and not two scans one after the other."""
    found = sorted(str(scan.raw.metadata.get("direction", "")) for scan in scans if scan.name in group)
    return found == ["retrace", "trace"]


def stand_in(groups: Groups) -> dict[str, str]:
    """For every repeated scan the first of its place: repeats count as one spot, and that one stands for it.

    >>> stand_in((("a", "a again"),))
    {'a': 'a', 'a again': 'a'}
    """
    return {name: group[0] for group in groups for name in group}


def named_group(scans: Sequence[Scan], text: str) -> tuple[str, ...]:
    """The scans that ``A,B`` means: names of scans, files or their stems.

    Parameters
    ----------
    scans : sequence of Scan
        On the bench.
    text : str
        Two or more, separated by commas. A comma inside a name is understood where the whole name is on the bench.

    Raises
    ------
    BenchError
        If one is not on the bench, is not one scan alone, or there are less than two.
    """
    group: list[str] = []
    pieces = text.split(",")
    while pieces:
        for length in range(len(pieces), 0, -1):
            found = _called(scans, ",".join(pieces[:length]).strip())
            if len(found) == 1:
                group.append(found[0])
                del pieces[:length]
                break
        else:
            raise _unknown(scans, pieces[0])
    group = list(dict.fromkeys(group))
    if len(group) < 2:
        raise BenchError(f"“{text}” names one scan; repeats are two or more of one place", fix="Write A,B.")
    return tuple(group)


def one_by_one(scans: Sequence[Scan], names: Iterable[str]) -> tuple[str, ...]:
    """The same for names that stand apart already, so that commas in them mean nothing.

    Raises
    ------
    BenchError
        As `named_group`.
    """
    wanted = list(names)
    found = [_called(scans, name.strip()) for name in wanted]
    for name, meant in zip(wanted, found, strict=True):
        if len(meant) != 1:
            raise _unknown(scans, name)
    group = tuple(dict.fromkeys(meant[0] for meant in found))
    if len(group) < 2:
        raise BenchError("Repeats are two or more scans of one place", where=", ".join(wanted), fix="Name A and B.")
    return group


def _unknown(scans: Sequence[Scan], name: str) -> BenchError:
    told = "means more than one scan" if _called(scans, name.strip()) else "is no scan on the bench"
    fix = f"Name two of: {_some(scan.name for scan in scans)}."
    return BenchError(f"“{name.strip()}” {told}", where="repeats", fix=fix)


def _called(scans: Sequence[Scan], text: str) -> list[str]:
    """Names of the scans that a text means; an exact name goes before a file."""
    if any(scan.name == text for scan in scans):
        return [text]
    path = Path(text)
    files = [(scan.name, Path(scan.raw.source.file)) for scan in scans if scan.raw.source.file]
    ways = (
        [name for name, file in files if file == path],
        [name for name, file in files if file.name == path.name and file.resolve() == path.resolve()],
        [name for name, file in files if file.name == text],
        [name for name, file in files if file.stem == text],
    )
    return next((found for found in ways if found and text), [])


def _traces(scans: Sequence[Scan]) -> list[set[str]]:
    """Every trace with its one retrace."""
    groups: dict[object, list[Scan]] = {}
    for scan in scans:
        if scan.raw.metadata.get("direction") in ("trace", "retrace") and not is_reference(scan.raw.metadata):
            groups.setdefault((scan.specimen, _place(scan), scan.raw.shape, scan.raw.pitch), []).append(scan)
    return [
        {scan.name for scan in group}
        for group in groups.values()
        if sorted(str(scan.raw.metadata["direction"]) for scan in group) == ["retrace", "trace"]
    ]


def _place(scan: Scan) -> object:
    if scan.spot:
        return "spot", scan.spot
    file = scan.raw.source.file
    return "name", _DIRECTION.sub("", Path(file).stem if file else scan.name).strip(" _-.")


def _some(names: Iterable[str]) -> str:
    all_names = list(names)
    return ", ".join(all_names[:8]) + (" …" if len(all_names) > 8 else "")
