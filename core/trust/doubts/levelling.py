"""Levelling that took off much of the texture itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from core.trust.doubts.doubt import Doubt

if TYPE_CHECKING:
    from core.trust.budget import Evidence
    from core.trust.levelling_bias import Loss

AMBER, RED = 0.05, 0.15
"""Shares of Sq (a proposal of the methods measured for this program, no other source)."""


def levelling(spots: Sequence[Evidence]) -> Doubt | None:
    """The doubt of a specimen whose levelling took off more than 5 % (amber) or 15 % (red) of its Sq; None below.

    Parameters
    ----------
    spots : sequence of Evidence
        Of its independent spots.
    """
    if not any(spot.losses for spot in spots):
        return None
    share = float(np.mean([spot.loss for spot in spots]))
    if share <= AMBER:
        return None
    every = [loss for spot in spots for loss in spot.losses]
    worst: Loss = max(every, key=lambda loss: loss.share)
    at_least = any(loss.at_least for loss in every)
    told = f"{'at least ' if at_least else 'about '}{100 * share:.2g} %"
    return Doubt(
        "levelling",
        "red" if share > RED else "amber",
        f"Levelling took off {told} of Sq, most of it the {worst.what}; it is told and not corrected.",
        "Level with the lowest order that works, scan a larger area, or set a band up to a quarter of the side.",
        {"levelling_loss": share, "at_least": float(at_least)},
        confused_with="Textures as long as the scan itself, of which a map shows only a part.",
        settled_by="A scan of twice the side on the same spot.",
    )
