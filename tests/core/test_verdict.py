"""The standing in sentences."""

import numpy as np

from core.standing import rank
from core.verdict import sentences


def said(spots: dict[str, list[float]], symbol: str = "Sq", **more: object) -> str:
    return " ".join(sentences(rank(spots, positive=True, rng=np.random.default_rng(1), **more), symbol))  # type: ignore[arg-type]


LOW = [1.0, 1.1, 1.05, 0.98]
NEAR = [1.03, 1.1, 1.0, 1.06]
HIGH = [5.0, 5.2, 5.5, 5.1]


def test_a_winner_told_apart_from_all() -> None:
    assert said({"A": LOW, "B": HIGH}) == "A is the smoothest (P > 0.99, told apart from all)."
    assert said({"A": LOW, "B": HIGH}, "Sz").startswith("A has the lowest Sz")


def test_ties_say_what_more_spots_would_do() -> None:
    text = said({"A": LOW, "B": NEAR, "C": HIGH})
    assert text.startswith("A and B are tied for the lowest Sq; the lowest is most likely A (P = 0.")
    assert "five spots of each would separate a factor of 1." in text
    assert "if it is real, takes" in text or "No reasonable number of spots" in text


def test_two_spots_cannot_rank() -> None:
    assert "Two spots cannot rank" in said({"A": LOW[:2], "B": HIGH[:2]})


def test_single_spots_bounds_and_what_is_set_aside() -> None:
    text = said({"A": LOW, "B": HIGH, "C": [3.0], "D": []})
    assert "C rests on a single scan" in text
    assert "Sq could not be had for D." in text
    assert "C and D rest on a single scan each" in said({"A": LOW, "B": HIGH, "C": [3.0], "D": [4.0]})
    assert "B is at the limit of the instrument: its reading is an upper bound" in said(
        {"A": LOW, "B": HIGH}, limited={"B"}
    )
    aside = said({"A": LOW, "B": NEAR, "C": HIGH}, set_aside={"C"}, partners={"C": ("A", "B")})
    assert "C is set aside: its reading may not stand beside those of A and B." in aside
    both = said({"A": LOW, "B": HIGH}, set_aside={"A", "B"}, partners={"A": ("B",), "B": ("A",)})
    assert both == "A and B are set aside: no reading may stand beside another as they are."
    two = {"set_aside": {"C", "D"}, "partners": {"C": ("A", "B"), "D": ("A", "B")}}
    text = said({"A": LOW, "B": HIGH, "C": HIGH, "D": HIGH}, **two)
    assert text.startswith("A is the smoothest (P > 0.99, told apart from all that are comparable).")
    assert "C and D are set aside: their readings may not stand beside those of the others." in text
    assert sentences(rank({}, positive=True), "Sq") == ()
