"""All doubts that one map gives rise to, in the order in which they are told."""

from __future__ import annotations

from core.heightmap import HeightMap
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.missing import missing, sparse


def doubts_of_scan(raw: HeightMap, treated: HeightMap) -> tuple[Doubt, ...]:
    """The doubts that one map gives rise to.

    Parameters
    ----------
    raw, treated : HeightMap
        The map as recorded and after the treatment.
    """
    return tuple(doubt for doubt in (missing(raw), sparse(treated)) if doubt is not None)
