"""The treatment: an ordered list of steps, the same for every scan, kept as TOML."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.treatment.band import Band
from core.treatment.calibrate import Calibrate
from core.treatment.crop import Crop
from core.treatment.fill import Fill
from core.treatment.frame import Frame, Lattice
from core.treatment.level import Level
from core.treatment.mask import Mask
from core.treatment.resample import Resample
from core.treatment.rows import Rows
from core.treatment.step import Step
from core.treatment.zero import Zero

SCHEMA = 1

STEPS: dict[str, type[Step]] = {
    step.do: step for step in (Calibrate, Mask, Level, Rows, Crop, Fill, Resample, Band, Zero)
}
"""Every kind of step by its word in the TOML."""


@dataclass(frozen=True)
class Treatment:
    """The ordered preparation steps, applied identically to all scans on the bench.

    Parameters
    ----------
    steps : tuple of Step
        In the order in which they are carried out.

    Examples
    --------
    >>> treatment = Treatment.default()
    >>> treatment.describe()
    'plane levelled, zero at mean'
    >>> Treatment.from_toml(treatment.to_toml()) == treatment
    True
    """

    steps: tuple[Step, ...] = ()

    @classmethod
    def default(cls) -> Self:
        """Level by a plane, zero at the mean."""
        return cls((Level(form="plane"), Zero(at="mean")))

    @property
    def active(self) -> tuple[Step, ...]:
        """The steps that are on."""
        return tuple(step for step in self.steps if step.on)

    def resolve(self, scans: Sequence[Lattice]) -> Self:
        """The treatment with all that depends on the bench settled: apply this one to every scan.

        Parameters
        ----------
        scans : sequence of HeightMap
            All scans on the bench, as recorded; only shape and pitch are looked at. One that a step leaves nothing of
            (it will be refused) no longer counts from there on.

        Raises
        ------
        TreatmentError
            If the scans have no common band; says which step.

        Examples
        --------
        >>> bench = [Frame((512, 512), (1e-8, 1e-8)), Frame((256, 256), (4e-8, 4e-8))]
        >>> Treatment.from_list([{"do": "level"}, {"do": "band"}]).resolve(bench).describe()
        'plane levelled, band 200 nm – 1.28 µm (Gaussian)'
        """
        settled: list[Step] = []
        frames = [Frame(scan.shape, scan.pitch) for scan in scans]
        for number, step in enumerate(self.steps, start=1):
            if not step.on:
                settled.append(step)
                continue
            try:
                settled.append(step.resolve(frames))
            except TreatmentError as error:
                raise TreatmentError(error.what, where=f"step {number}, {step.describe()}", fix=error.fix) from error
            frames = [left for frame in frames if (left := _frame_after(settled[-1], frame)) is not None]
        return type(self)(tuple(settled))

    def apply(self, scan: HeightMap, *, between: Callable[[], None] | None = None) -> HeightMap:
        """The treated map, its history one entry longer for each active step.

        Parameters
        ----------
        scan : HeightMap
            The map as recorded.
        between : callable, optional
            Called before each step; it may raise to stop (cancelling).

        Raises
        ------
        TreatmentError
            If a step cannot be carried out on this map; says which step.
        """
        for number, step in enumerate(self.steps, start=1):
            if between is not None:
                between()
            if not step.on:
                continue
            where = f"step {number}, {step.describe()}"
            try:
                with np.errstate(over="raise"):
                    scan = step.apply(scan)
            except TreatmentError as error:
                raise TreatmentError(error.what, where=where, fix=error.fix) from error
            except (FloatingPointError, OverflowError) as error:
                raise TreatmentError(
                    "The heights are too large to be computed with", where=where, fix="Check the unit of the heights."
                ) from error
        return scan

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """Shortest and longest wavelength that the active band steps leave, metres; None where open or not resolved."""
        bands = [step.limits for step in self.active if isinstance(step, Band)]
        short = [band[0] for band in bands if band[0] is not None]
        long = [band[1] for band in bands if band[1] is not None]
        return max(short, default=None), min(long, default=None)

    def describe(self) -> str:
        """The active steps in one line for captions."""
        return ", ".join(step.describe() for step in self.active) or "no treatment"

    @property
    def digest(self) -> str:
        """Hash of the active steps: equal digests, equal treatment. 16 hexadecimal digits."""
        told = json.dumps([step.parameters() for step in self.active], sort_keys=True)
        return hashlib.sha256(told.encode()).hexdigest()[:16]

    def with_zero(self, at: str) -> Self:
        """The same treatment with 0 at another place: the last ``zero`` step is replaced, or one is added."""
        kept = tuple(step for step in self.steps if not isinstance(step, Zero))
        return type(self)((*kept, Zero(at=at)))

    def to_list(self) -> list[dict[str, Any]]:
        """The steps as plain tables, ready for JSON."""
        return [step.parameters() for step in self.steps]

    @classmethod
    def from_list(cls, tables: Iterable[Mapping[str, Any]]) -> Self:
        """The treatment from plain tables.

        Raises
        ------
        TreatmentError
            Says which step is wrong and why.
        """
        return cls(tuple(_step(table, number) for number, table in enumerate(tables, start=1)))

    def to_toml(self) -> str:
        """The treatment as TOML text."""
        lines = [f"schema = {SCHEMA}"]
        for table in self.to_list():
            lines += ["", "[[step]]", *(f"{key} = {_toml_value(value)}" for key, value in table.items())]
        return "\n".join(lines) + "\n"

    @classmethod
    def from_toml(cls, text: str) -> Self:
        """The treatment from TOML text.

        Parameters
        ----------
        text : str
            ``schema = 1`` and ``[[step]]`` tables, each with ``do`` and the step's parameters.

        Raises
        ------
        TreatmentError
            If the text is no TOML, of another schema, or names a step or parameter that does not exist.
        """
        try:
            tables = tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            raise TreatmentError("The treatment is not valid TOML", where=str(error)) from error
        if tables.get("schema") != SCHEMA:
            raise TreatmentError(
                f"The treatment has schema {tables.get('schema')!r}, this program reads {SCHEMA}",
                fix=f"Begin the file with: schema = {SCHEMA}",
            )
        unknown = set(tables) - {"schema", "step"}
        steps = tables.get("step", [])
        if unknown or not isinstance(steps, list):
            raise TreatmentError(
                f"The treatment has unknown entries: {', '.join(sorted(unknown)) or 'step'}",
                fix="A treatment holds schema and [[step]] tables.",
            )
        return cls.from_list(steps)


def _frame_after(step: Step, frame: Frame) -> Frame | None:
    try:
        return step.frame(frame)
    except TreatmentError:
        return None


def _step(table: Mapping[str, Any], number: int) -> Step:
    if not isinstance(table, Mapping) or "do" not in table:
        raise TreatmentError("A step does not say what it does", where=f"step {number}", fix='Add do = "level".')
    values = dict(table)
    word = values.pop("do")
    if word not in STEPS:
        raise TreatmentError(
            f"There is no step “{word}”", where=f"step {number}", fix=f"The steps are: {', '.join(STEPS)}."
        )
    try:
        return STEPS[word].from_parameters(values)
    except TreatmentError as error:
        raise TreatmentError(error.what, where=f"step {number}", fix=error.fix) from error


def _toml_value(value: object) -> str:
    """A TOML value. JSON's strings, numbers and booleans are TOML's too."""
    return json.dumps(value, ensure_ascii=False)
