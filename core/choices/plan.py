"""The treatments of the choices test, around that of a bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from core.bench import Bench
from core.errors import TreatmentError
from core.treatment import Band, Level, Mask, Rows, Step, Treatment, Zero
from core.units import format_length

FACTORS = ("levelling", "mask", "shortest", "longest")

SHORTER, LONGER = 3 / 5, 2 / 3
"""The other ends of the band: 3 for 5 pixels, a sixth for a quarter of the side."""

LEAST_PIXELS = 2  # no shorter waves are on a map

PLANE = Level(form="plane")
LEVELLINGS: Mapping[str, tuple[Step, ...]] = {
    "plane": (PLANE,),
    "quadratic": (Level(form="polynomial", degree=2),),
    "row median": (PLANE, Rows(remove="offset", by="median")),
    "row line": (PLANE, Rows(remove="polynomial", degree=1)),
}
MASKS: Mapping[str, tuple[Step, ...]] = {
    "none": (),
    "4 σ": (Mask(what="outliers", k=4.0, grow="2 px"),),
    "5 σ": (Mask(what="outliers", k=5.0, grow="2 px"),),
}

ADDED = "The bench has no band; its choices are compared in the common band, because a band changes what is measured."
NO_BAND = "No band fits all scans, so only levelling and mask were varied."


@dataclass(frozen=True, slots=True)
class Plan:
    """The options of each factor by their names, the bench's own first, and what is done in any case.

    Attributes
    ----------
    before, after : tuple of Step
        Steps ahead of the outlier mask, and between levelling and band.
    levellings, masks : mapping of str to tuple of Step
        What can be done.
    shortest, longest : mapping of str to float or None
        Ends of the band, metres; None where there is none.
    robust : bool
        Whether the long waves are found by robust regression.
    note : str
        Conditions.
    """

    before: tuple[Step, ...]
    levellings: Mapping[str, tuple[Step, ...]]
    masks: Mapping[str, tuple[Step, ...]]
    shortest: Mapping[str, float | None]
    longest: Mapping[str, float | None]
    after: tuple[Step, ...]
    robust: bool
    note: str = ""

    @property
    def options(self) -> dict[str, tuple[str, ...]]:
        """Names of the options of each factor."""
        every = (self.levellings, self.masks, self.shortest, self.longest)
        return {factor: tuple(names) for factor, names in zip(FACTORS, every, strict=True)}


def plan(bench: Bench) -> Plan:
    """The options around the bench's own treatment, resolved on the bench.

    Raises
    ------
    TreatmentError
        If the bench's own band leaves nothing.

    Notes
    -----
    Masks of a rectangle, of clipped points and of streaks answer to what is known to be bad: only the mask of outliers
    is a choice.
    """
    steps = [step for step in bench.treatment.active if not isinstance(step, Zero)]  # no reading feels where 0 is
    first = next((number for number, step in enumerate(steps) if _varied(step)), 0)
    before = tuple(step for step in steps[:first] if not isinstance(step, Band))
    rest = [step for step in steps[first:] if not _varied(step) and not isinstance(step, Band)]
    marked = tuple(step for step in rest if isinstance(step, Mask))  # before the levelling: it must not see them
    after = tuple(step for step in rest if not isinstance(step, Mask))
    bands = [step for step in steps if isinstance(step, Band)]
    short, long, note = _limits(bench, (*before, *after), bands)
    coarsest = max((max(scan.raw.pitch) for scan in bench.scans), default=0.0)
    return Plan(
        before=(*before, *marked),
        levellings=_own_first(LEVELLINGS, tuple(step for step in steps if isinstance(step, Level | Rows))),
        masks=_own_first(MASKS, tuple(step for step in steps if _varied(step) and isinstance(step, Mask))),
        shortest=_ends(short, SHORTER, least=LEAST_PIXELS * coarsest),
        longest=_ends(long, LONGER, least=short or 0.0),
        after=after,
        robust=any(step.kind == "robust" for step in bands),
        note=note,
    )


def _varied(step: Step) -> bool:
    return isinstance(step, Level | Rows) or (isinstance(step, Mask) and step.what == "outliers")


def _limits(bench: Bench, others: tuple[Step, ...], bands: Sequence[Band]) -> tuple[float | None, float | None, str]:
    """Ends of the band, metres, and what has to be said about them."""
    raws = [scan.raw for scan in bench.scans]
    if bands:
        return (*bench.treatment.resolve(raws).limits, "")
    try:
        return (*Treatment((*others, Band())).resolve(raws).limits, ADDED)
    except TreatmentError:
        return None, None, NO_BAND


def _own_first(known: Mapping[str, tuple[Step, ...]], own: tuple[Step, ...]) -> dict[str, tuple[Step, ...]]:
    """The known options, the bench's own ahead of them; one that is not among them is added."""
    name = next((name for name, steps in known.items() if steps == own), None)
    if name is None:
        name = ", ".join(step.describe() for step in own) or "none"
    return {name: own} | {other: steps for other, steps in known.items() if other != name}


def _ends(own: float | None, share: float, *, least: float) -> dict[str, float | None]:
    if own is None:
        return {"open": None}
    ends = [own, share * own]
    return {format_length(end): end for end in ends if end == own or end > least}
