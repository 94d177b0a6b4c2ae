"""Doubts: reasons not to trust a scan, each with what to do at the microscope. One file a detector.

Detectors look at the raw map after plane levelling only (those about numbers as written: at the untouched numbers), so
that no treatment hides what the instrument did.
"""

from core.trust.doubts.bench import COMMON, doubts_of_bench
from core.trust.doubts.doubt import Doubt, Level, Place
from core.trust.doubts.missing import MISSING_AMBER, MISSING_RED
from core.trust.doubts.scan import doubts_of_scan, looked_at
from core.trust.doubts.spots import single_scan

__all__ = [
    "COMMON",
    "MISSING_AMBER",
    "MISSING_RED",
    "Doubt",
    "Level",
    "Place",
    "doubts_of_bench",
    "doubts_of_scan",
    "looked_at",
    "single_scan",
]
