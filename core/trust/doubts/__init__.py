"""Doubts: reasons not to trust a scan, each with what to do at the microscope. One file a detector.

Detectors look at the raw map after plane levelling only (those about numbers as written: at the untouched numbers), so
that no treatment hides what the instrument did.
"""

from core.trust.doubts.doubt import Doubt, Level, Place
from core.trust.doubts.missing import MISSING_AMBER, MISSING_RED
from core.trust.doubts.scan import doubts_of_scan
from core.trust.doubts.spots import single_scan

__all__ = ["MISSING_AMBER", "MISSING_RED", "Doubt", "Level", "Place", "doubts_of_scan", "single_scan"]
