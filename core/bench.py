"""The bench: the document. Scans as recorded, one treatment, and how they are looked at. Frozen, so undo is a list."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Self

from core.errors import LowreliefError
from core.formats.metadata import value_of
from core.heightmap import EMPTY, BoolArray, HeightMap
from core.scale import Scale
from core.shapes import Shape, masked
from core.treatment import Treatment


@dataclass(frozen=True, slots=True, eq=False)
class Scan:
    """One map as recorded, and the specimen it belongs to.

    Attributes
    ----------
    raw : HeightMap
        As read, with the shapes drawn by hand in its mask; its name is unique on the bench.
    specimen : str
        The candidate surface.
    spot : str
        Which spot on it, as the user or the file says; may be empty.
    shapes : tuple of Shape
        What the user masked by hand.
    own_mask : ndarray of bool, or None
        The mask that the file brought: what is left when all shapes are taken away.
    said : mapping of str to str
        What the user said about the scan that its file does not say, or not so; an empty text for what she struck out.
    """

    raw: HeightMap
    specimen: str
    spot: str = ""
    shapes: tuple[Shape, ...] = ()
    own_mask: BoolArray | None = None
    said: Mapping[str, str] = field(default_factory=lambda: EMPTY)

    @property
    def name(self) -> str:
        """The scan's name, unique on the bench."""
        return self.raw.name

    def with_shapes(self, shapes: Iterable[Shape]) -> Self:
        """The scan with these shapes masked, and no other ones.

        Raises
        ------
        MapError
            If they would leave no point.
        """
        drawn = tuple(shapes)
        own = self.own_mask if self.shapes else self.raw.mask
        return replace(self, raw=masked(self.raw, drawn, own), shapes=drawn, own_mask=own if drawn else None)

    def with_said(self, said: Mapping[str, str]) -> Self:
        """The scan with more said about it: ``{"line_rate": "1 Hz"}``; an empty text strikes out what was recorded.

        Raises
        ------
        QuantityError
            If a value cannot be understood.
        """
        known: dict[str, Any] = dict(self.raw.metadata)
        for key, text in said.items():
            if text.strip():
                known[key] = value_of(key, text.strip())
            else:
                known.pop(key, None)
        return replace(self, raw=self.raw.with_(metadata=known), said={**self.said, **said})


@dataclass(frozen=True, slots=True)
class Refusal:
    """A file that could not become a scan, with the reason and the fix.

    Attributes
    ----------
    file : str
        Path as given.
    reason : str
        What is wrong, and where.
    fix : str
        What the user can do.
    """

    file: str
    reason: str
    fix: str = ""

    @classmethod
    def of(cls, file: str | Path, error: LowreliefError) -> Self:
        """The refusal that an error stands for."""
        place = f" ({error.where})" if error.where else ""
        return cls(str(file), f"{error.what}{place}", error.fix)


@dataclass(frozen=True, slots=True)
class Stated:
    """A vendor's claim on the bench, as text: `core.fitness.claims` reads and judges it.

    Attributes
    ----------
    text : str
        As it was typed.
    specimen : str
        Whom it is about; empty for all specimens.
    """

    text: str
    specimen: str = ""

    def about(self, specimen: str) -> bool:
        """Whether it speaks of this specimen."""
        return self.specimen in ("", specimen)


@dataclass(frozen=True)
class Bench:
    """The set of specimens under comparison, with one treatment.

    Attributes
    ----------
    title : str
        Shown on sheet and figure; may be empty.
    scans : tuple of Scan
        In the order in which they came.
    refused : tuple of Refusal
        Files that could not be read, kept so that sheet and window can say so.
    treatment : Treatment
        The same for all scans.
    rank_by : str
        Symbol of the reading that makes the standing.
    scale : Scale
        The shared height scale.
    claims : tuple of Stated
        What vendors state about the specimens.
    claim_rule : {"guarded", "simple"}
        The decision rule by which claims are judged.
    repeats : tuple of tuple of str
        Names of scans that show one place again, as the user said; trace and retrace are found without it.
    """

    title: str = ""
    scans: tuple[Scan, ...] = ()
    refused: tuple[Refusal, ...] = ()
    treatment: Treatment = field(default_factory=Treatment.default)
    rank_by: str = "Sq"
    scale: Scale = field(default_factory=Scale)
    claims: tuple[Stated, ...] = ()
    claim_rule: str = "guarded"
    repeats: tuple[tuple[str, ...], ...] = ()

    @property
    def specimens(self) -> dict[str, tuple[Scan, ...]]:
        """Scans by specimen, both in the order in which they came."""
        groups: dict[str, list[Scan]] = {}
        for scan in self.scans:
            groups.setdefault(scan.specimen, []).append(scan)
        return {name: tuple(scans) for name, scans in groups.items()}

    def scan(self, name: str) -> Scan:
        """The scan of this name.

        Raises
        ------
        KeyError
            If there is none.
        """
        for scan in self.scans:
            if scan.name == name:
                return scan
        raise KeyError(name)

    def with_scans(self, scans: Iterable[Scan]) -> Self:
        """The bench with more scans; a name that is taken already gets a number: “film (2)”."""
        taken = {scan.name for scan in self.scans}
        added = []
        for scan in scans:
            name = unique(scan.name or "scan", taken)
            taken.add(name)
            added.append(scan if name == scan.name else replace(scan, raw=scan.raw.named(name)))
        return replace(self, scans=(*self.scans, *added))

    def without_scans(self, names: Iterable[str]) -> Self:
        """The bench without these scans."""
        gone = set(names)
        return replace(self, scans=tuple(scan for scan in self.scans if scan.name not in gone))

    def with_specimen(self, names: Iterable[str], specimen: str) -> Self:
        """The bench with these scans moved to another specimen."""
        moved = set(names)
        return replace(
            self,
            scans=tuple(replace(s, specimen=specimen) if s.name in moved else s for s in self.scans),
        )

    def with_repeats(self, groups: Iterable[Iterable[str]]) -> Self:
        """The bench with more groups of scans of one place. They are of one specimen: that of the first."""
        said = tuple(tuple(group) for group in groups)
        bench = replace(self, repeats=tuple(dict.fromkeys((*self.repeats, *said))))
        for group in said:
            bench = bench.with_specimen(group, bench.scan(group[0]).specimen)
        return bench

    def with_refused(self, refused: Iterable[Refusal]) -> Self:
        """The bench with more refusals; a file refused before keeps its latest reason."""
        by_file = {refusal.file: refusal for refusal in (*self.refused, *refused)}
        return replace(self, refused=tuple(by_file.values()))


def unique(name: str, taken: Iterable[str]) -> str:
    """The name, with the smallest number behind it that makes it unlike all in `taken`.

    >>> unique("film", ["film", "film (2)"])
    'film (3)'
    """
    used = set(taken)
    if name not in used:
        return name
    number = 2
    while f"{name} ({number})" in used:
        number += 1
    return f"{name} ({number})"
