"""Which steps of a treatment a map may have had before steps of a crystal or of a standard are measured on it."""

from __future__ import annotations

from collections.abc import Collection

from core.heightmap import HeightMap
from core.treatment import Treatment

FOR_LADDER = ("calibrate", "crop", "mask")
"""Nothing that levels row by row or filters: it takes the terraces off with the rows."""

FOR_STANDARD = ("crop", "mask")
"""No calibration either: it is what is being measured."""


def prepared(raw: HeightMap, treatment: Treatment, kinds: Collection[str]) -> HeightMap:
    """A map as recorded, after some steps of a treatment only.

    Parameters
    ----------
    raw : HeightMap
        As recorded.
    treatment : Treatment
        Of the bench.
    kinds : collection of str
        The steps that are carried out, by what they do.

    Raises
    ------
    TreatmentError
        If a step cannot be carried out.

    Examples
    --------
    >>> raw = HeightMap([[0.0, 1e-9], [0.0, 2e-9]], pitch=(1e-8, 1e-8))
    >>> recipe = Treatment.from_list([{"do": "calibrate", "z": 1.5}, {"do": "level"}])
    >>> [f"{prepared(raw, recipe, kinds).z.max():.1e}" for kinds in (FOR_LADDER, FOR_STANDARD)]
    ['3.0e-09', '2.0e-09']
    """
    return Treatment(tuple(step for step in treatment.steps if step.do in kinds)).apply(raw)
