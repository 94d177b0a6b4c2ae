"""The doubts that only several maps together give rise to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from core.trust.doubts.bow import bow
from core.trust.doubts.double_tip import double_tip
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.imprint import Imprint

COMMON = ("bow", "double-tip")
"""Codes of the doubts that are found here."""


def doubts_of_bench(specimens: Mapping[str, Sequence[Imprint]]) -> dict[str, tuple[Doubt, ...]]:
    """Scanner bow that several specimens share, and the echo of a probe with two ends.

    Parameters
    ----------
    specimens : mapping of str to sequence of Imprint
        Those of the scans of each specimen.

    Returns
    -------
    dict of str to tuple of Doubt
        By the name of the scan; scans without such a doubt are not in it.
    """
    found: dict[str, list[Doubt]] = {}
    for detector in (bow, double_tip):
        for name, doubt in detector(specimens).items():
            found.setdefault(name, []).append(doubt)
    return {name: tuple(doubts) for name, doubts in found.items()}
