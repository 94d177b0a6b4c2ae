"""The log: what an instrument gave from day to day, in one file that several windows may use at a time.

It keeps noise floors, calibrations and, if wanted, the readings of finished comparisons, by date, instrument and probe.
One cleaved crystal scanned every morning makes it the daily check of the instrument, and today's candidates can stand
beside last month's.
"""

from core.log.chart import Chart, chart
from core.log.entry import LogEntry
from core.log.recording import entries_of
from core.log.store import Log
from core.log.table import from_csv, to_csv

__all__ = ["Chart", "Log", "LogEntry", "chart", "entries_of", "from_csv", "to_csv"]
