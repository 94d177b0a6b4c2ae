"""The choices test: does the winner hang on how the scans were treated?

Several treatments are defensible for one bench: another levelling, another outlier mask, slightly other ends of the
band. All combinations are run, only the ranking reading is taken, and the winners are counted. Whether there is a band
at all is no choice: it changes what is measured (alone it changed 61 % of the winners on nearly equal textures).

Measured for this program: of benches separated by a factor of 1.6 no treatment changes the winner; of benches 3 % apart
with equal spectra some treatment does in about half. The share of treatments that a specimen wins is no probability of
anything and is never multiplied with one.
"""

from core.choices.record import Choice, Choices, sentence, summary
from core.choices.run import choices

__all__ = ["Choice", "Choices", "choices", "sentence", "summary"]
