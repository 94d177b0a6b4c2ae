"""The doubt of a specimen that rests on too few spots."""

from core.trust.doubts.doubt import Doubt


def single_scan() -> Doubt:
    """The doubt of a specimen that was looked at in one spot only."""
    return Doubt(
        "single-scan",
        "amber",
        "One scan only: spot-to-spot variation unknown, the place in the standing is not proven.",
        "Scan at least three spots, a millimetre or more apart.",
    )
