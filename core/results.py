"""The results of a comparison: frozen records that window, sheet, figure and bench file read and nobody changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from core.bench import Refusal
from core.choices import Choices
from core.fitness.bumps import Census
from core.fitness.claims import Judgement
from core.fitness.trial.record import Trial
from core.heightmap import Entry, HeightMap
from core.measures.reading import Reading
from core.scale import Scale
from core.shapes import Shape
from core.standing import Place, Ranking
from core.treatment import Treatment
from core.trust.budget import Budget, Evidence
from core.trust.comparability import Pair
from core.trust.doubts import Doubt
from core.trust.doubts.imprint import Imprint
from core.trust.noise.judged import MeasuredNoise, SpecimenNoise


@dataclass(frozen=True, slots=True, eq=False)
class ScanResult:
    """What one scan gave.

    Attributes
    ----------
    name, specimen, spot : str
        As on the bench.
    raw, treated : HeightMap
        The map as recorded and after the treatment.
    readings : mapping of str to Reading
        By symbol; every entry of the catalogue is present.
    doubts : tuple of Doubt
        Reasons not to trust it.
    own_range : (float, float)
        The range of its tile when it is coloured on its own, metres.
    evidence : Evidence or None
        What it contributes to uncertainty budgets: finite area, levelling losses, mask choice, scales.
    bumps : Census or None
        Bumps of the treated map that a particle of 20 nm could be mistaken for.
    place : str
        Where the same place was scanned again: name of the scan that stands for it, the first. Empty otherwise.
    shapes : tuple of Shape
        What was masked by hand; it is in the mask of `raw`.
    said : mapping of str to str
        What the user said about the scan beyond its file; it is in the metadata of `raw`.
    imprint : Imprint or None
        What is needed of the raw map to find what several scans have in common.
    """

    name: str
    specimen: str
    spot: str
    raw: HeightMap
    treated: HeightMap
    readings: Mapping[str, Reading]
    doubts: tuple[Doubt, ...]
    own_range: tuple[float, float]
    evidence: Evidence | None = None
    bumps: Census | None = None
    place: str = ""
    shapes: tuple[Shape, ...] = ()
    said: Mapping[str, str] = field(default_factory=dict)
    imprint: Imprint | None = None

    @property
    def removed(self) -> tuple[Entry, ...]:
        """What each step removed."""
        return self.treated.history[len(self.raw.history) :]


def independent(scans: Iterable[ScanResult]) -> list[ScanResult]:
    """The scans that are spots of their own: the same file twice is one spot, and so are repeats of one place."""
    seen: dict[object, ScanResult] = {}
    for scan in scans:
        source = scan.raw.source
        itself = (source.sha256, source.channel) if source.sha256 else id(scan.raw)
        seen.setdefault(scan.place or itself, scan)
    return list(seen.values())


@dataclass(frozen=True, slots=True, eq=False)
class SpecimenResult:
    """What the spots of one specimen gave together.

    Attributes
    ----------
    name : str
        The specimen.
    scans : tuple of str
        Names of its scans.
    readings : mapping of str to Reading
        Typical spot with its 95 % interval, by symbol.
    typical : str
        Name of the scan whose ranking reading lies in the middle: the spot that stands for the specimen in pictures.
    doubts : tuple of Doubt
        Those about the specimen as a whole.
    budgets : mapping of str to Budget
        Where the intervals come from, line by line: of the ranking reading and of the heights.
    bumps : Census or None
        The bumps of its spots together.
    noise : SpecimenNoise or None
        Its noise floor and its Sq without noise; None where nothing on the bench says anything about noise.
    """

    name: str
    scans: tuple[str, ...]
    readings: Mapping[str, Reading]
    typical: str
    doubts: tuple[Doubt, ...] = ()
    budgets: Mapping[str, Budget] = field(default_factory=dict)
    bumps: Census | None = None
    noise: SpecimenNoise | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """The wavelengths that the readings cover.

    Attributes
    ----------
    shortest, longest : float or None
        Metres; None when there is no scan.
    filtered : bool
        Whether a filter set a limit. A limit that no filter set is where the scans end: two pixels of the finest, the
        side of the largest.
    """

    shortest: float | None
    longest: float | None
    filtered: bool = False

    @property
    def filter(self) -> tuple[float | None, float | None] | None:
        """The limits that a filter set, None without one."""
        return (self.shortest, self.longest) if self.filtered else None


@dataclass(frozen=True, eq=False)
class Comparison:
    """The whole result: sheet, figure and window show this record and compute nothing of their own.

    Attributes
    ----------
    title : str
        Of the bench.
    treatment : Treatment
        Applied to every scan.
    band : Band
        Wavelengths covered.
    rank_by : str
        Symbol of the ranking reading.
    scans : tuple of ScanResult
        In bench order.
    specimens : tuple of SpecimenResult
        In bench order.
    standing : tuple of Place
        Best first.
    comparability : tuple of Pair
        One for each pair of specimens.
    refused : tuple of Refusal
        Files and scans that could not be compared, with reasons.
    shared_range : (float, float)
        Ends of the shared height scale, metres.
    created : str
        ISO 8601 with time zone.
    version : str
        Of the program.
    scale : Scale
        Where the shared range comes from.
    ranking : Ranking
        The standing with what is known of its pairs.
    choices : Choices or None
        What other defensible treatments say, where that was asked for.
    claims : tuple of Judgement
        The claims on the bench, judged; specimen by specimen.
    noise : MeasuredNoise or None
        What repeats and reference scans say; None where there are none.
    trials : tuple of Trial
        Which virtual particles would be found, where that was asked for; one for each specimen and probe radius.
    """

    title: str
    treatment: Treatment
    band: Band
    rank_by: str
    scans: tuple[ScanResult, ...]
    specimens: tuple[SpecimenResult, ...]
    standing: tuple[Place, ...]
    comparability: tuple[Pair, ...]
    refused: tuple[Refusal, ...]
    shared_range: tuple[float, float]
    created: str
    version: str
    scale: Scale = field(default_factory=Scale)
    ranking: Ranking = field(default_factory=lambda: Ranking(()))
    choices: Choices | None = None
    claims: tuple[Judgement, ...] = ()
    noise: MeasuredNoise | None = None
    trials: tuple[Trial, ...] = ()
    scans_by_name: Mapping[str, ScanResult] = field(init=False, repr=False)
    specimens_by_name: Mapping[str, SpecimenResult] = field(init=False, repr=False)
    places: Mapping[str, Place] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "scans_by_name", {scan.name: scan for scan in self.scans})
        put(self, "specimens_by_name", {specimen.name: specimen for specimen in self.specimens})
        put(self, "places", {place.specimen: place for place in self.standing})

    def colour_index(self, specimen: str) -> int:
        """Number of the specimen in bench order: its colour everywhere."""
        return [s.name for s in self.specimens].index(specimen)

    def spots(self) -> dict[str, list[ScanResult]]:
        """The scans of each specimen that are spots of their own; specimens in the order of the standing."""
        return {
            place.specimen: independent(scan for scan in self.scans if scan.specimen == place.specimen)
            for place in self.standing
        }
