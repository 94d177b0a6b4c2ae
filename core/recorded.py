"""What should be recorded of a scan so that its readings mean something; what is not there is said to be so."""

from __future__ import annotations

import math
from collections.abc import Mapping

from core.formats.metadata import LENGTHS, RATES, as_text
from core.units import format_length

NOT_RECORDED = "not recorded"

FIELDS: dict[str, dict[str, str]] = {
    "Specimen": {"lot": "Lot", "side": "Side", "cleaning": "Cleaning", "time_since_cleaning": "Time since cleaning",
                 "orientation": "Orientation"},
    "Scan": {"date": "Date", "operator": "Operator", "role": "Role", "direction": "Direction", "line_rate": "Line rate",
             "overscan": "Overscan", "scan_angle": "Scan angle", "z_range": "Height range", "bit_depth": "Bit depth",
             "acquisition_filter": "Levelled while scanned"},
    "Instrument": {"instrument": "Instrument", "scanner": "Scanner", "mode": "Mode", "set_point": "Set-point",
                   "gains": "Gains", "noise_floor": "Noise floor of the day"},
    "Probe": {"probe": "Probe", "probe_radius": "Probe radius", "probe_uses": "Scans before"},
    "Calibration": {"certificate": "Certificate", "z_scale_u": "U of the z scale", "xy_scale_u": "U of the xy scale"},
    "Air": {"temperature": "Temperature", "humidity": "Humidity"},
}  # fmt: skip
"""Keys of the metadata by group, with what they are called."""


def value_text(metadata: Mapping[str, object], key: str) -> str:
    """One value as people write it; empty where it is not recorded.

    >>> value_text({"probe_radius": 8e-9}, "probe_radius"), value_text({"line_rate": 1.5}, "line_rate")
    ('8 nm', '1.5 Hz')
    >>> value_text({}, "operator")
    ''
    """
    value = metadata.get(key)
    if value is None or value == "":
        return ""
    if isinstance(value, int | float) and math.isfinite(value):
        if key in LENGTHS:
            return format_length(value)
        if key in RATES:
            return f"{value:g} Hz"
    return as_text(key, value)
