"""The sample scenario, invented from beginning to end: six carriers for counting 30 nm plastic particles.

A small imaging laboratory must choose. It has cleaved graphite, template-stripped gold, annealed sapphire, cover glass,
a polymer film and lapped steel, and scans three spots of each, 5 µm wide, with one instrument; of three carriers it
also takes close-ups, 2 µm wide. No such laboratory, instrument or measurement exists: every height is computed here,
and what was planted is handed over with it, so that tests and readers can hold the program's readings against it.
"""

from core.scenario.carriers import INVENTED, SEED, Sample, Truth, carriers, close_ups
from core.scenario.files import write_demo

__all__ = ["INVENTED", "SEED", "Sample", "Truth", "carriers", "close_ups", "write_demo"]
