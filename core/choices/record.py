"""The result of the choices test: who wins under which treatment, and what changes the winner."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

STABLE, DEPENDENT = 0.95, 0.80
"""Shares of the treatments that the winner must keep to be called stable, and below which it is called dependent on
choices (proposal of the methods measured for this program)."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One treatment of the test.

    Attributes
    ----------
    options : tuple of str
        What was chosen for each factor.
    winner : str or None
        Specimen with the lowest reading; None when no specimen could be read.
    order : tuple of str
        All specimens that could be read, lowest first.
    """

    options: tuple[str, ...]
    winner: str | None
    order: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Choices:
    """What all defensible treatments say.

    Attributes
    ----------
    symbol : str
        The ranking reading.
    choices : tuple of Choice
        One for each treatment.
    baseline : int
        Number of the one that is the bench's own, or nearest to it.
    options : mapping of str to tuple of str
        What each factor can be; the first is the bench's own.
    win_share : mapping of str to float
        Share of the treatments that each specimen wins, largest first; 0 for the others.
    different : int
        Treatments whose winner is not the baseline's.
    flip_rate : mapping of str to float
        By factor: how often the winner changes if only this factor is changed.
    nearest_flip : tuple of (str, str, str)
        The fewest changes from the baseline to another winner: factor, from, to. Empty when nothing flips.
    flips_to : str or None
        Who wins then.
    verdict : {"stable", "mostly stable", "choice-dependent", "tied", "none"}
        ``"tied"`` when the baseline does not tell its two lowest apart; ``"none"`` without two specimens.
    note : str
        Conditions, such as a band that the bench does not have.
    """

    symbol: str
    choices: tuple[Choice, ...]
    baseline: int
    options: Mapping[str, tuple[str, ...]]
    win_share: Mapping[str, float]
    different: int
    flip_rate: Mapping[str, float]
    nearest_flip: tuple[tuple[str, str, str], ...]
    flips_to: str | None
    verdict: str
    note: str = ""


def summary(
    symbol: str,
    found: Sequence[Choice],
    options: Mapping[str, tuple[str, ...]],
    *,
    specimens: Sequence[str],
    tied: bool = False,
    note: str = "",
) -> Choices:
    """Count the winners of treatments; the first is the baseline.

    Parameters
    ----------
    symbol : str
        The ranking reading.
    found : sequence of Choice
        One for every combination of the options.
    options : mapping of str to tuple of str
        Of each factor.
    specimens : sequence of str
        All that take part.
    tied : bool, default False
        Whether the baseline does not tell its two lowest apart.
    note : str, optional
        Passed on.
    """
    wins = Counter(choice.winner for choice in found if choice.winner is not None)
    shares = {name: wins[name] / len(found) for name in sorted(specimens, key=lambda name: -wins[name])}
    own = found[0].winner
    nearest = min(
        (choice for choice in found if choice.winner != own),
        key=lambda choice: len(_changes(found[0], choice, options)),
        default=None,
    )
    return Choices(
        symbol=symbol,
        choices=tuple(found),
        baseline=0,
        options=dict(options),
        win_share=shares,
        different=sum(choice.winner != own for choice in found),
        flip_rate={factor: _flip_rate(found, number) for number, factor in enumerate(options)},
        nearest_flip=() if nearest is None else _changes(found[0], nearest, options),
        flips_to=None if nearest is None else nearest.winner,
        verdict=_verdict(shares.get(own or "", 0.0), tied=tied, alone=len(found[0].order) < 2),
        note=note,
    )


def sentence(found: Choices) -> str:
    """The result in one or two sentences.

    >>> row = [Choice(("plane",), "mica", ("mica", "film")), Choice(("quadratic",), "film", ("film", "mica"))]
    >>> said = sentence(summary("Sq", row, {"levelling": ("plane", "quadratic")}, specimens=["mica", "film"]))
    >>> said.split(". ")[0]
    'Under 2 defensible treatments mica has the lowest Sq in 50 % (choice-dependent)'
    >>> said.split(". ")[1]
    'Nearest change of winner: levelling plane → quadratic, then film.'
    """
    own = found.choices[found.baseline].winner
    if found.verdict == "none" or own is None:
        return "Fewer than two specimens could be read, so no choice can change the winner."
    said = (
        f"Under {len(found.choices)} defensible treatments {own} has the lowest {found.symbol} in "
        f"{found.win_share[own] * 100:.0f} % ({VERDICTS[found.verdict]})."
    )
    if not found.nearest_flip:
        return f"{said} None of them changes the winner."
    steps = ", ".join(f"{factor} {before} → {after}" for factor, before, after in found.nearest_flip)
    return f"{said} Nearest change of winner: {steps}, then {found.flips_to}."


VERDICTS = {
    "stable": "stable",
    "mostly stable": "mostly stable",
    "choice-dependent": "choice-dependent",
    "tied": "not told apart under the bench's own treatment",
    "none": "nothing to choose",
}


def _verdict(share: float, *, tied: bool, alone: bool) -> str:
    if alone:
        return "none"
    if tied:
        return "tied"
    return "stable" if share >= STABLE else "choice-dependent" if share < DEPENDENT else "mostly stable"


def _changes(
    baseline: Choice, other: Choice, options: Mapping[str, tuple[str, ...]]
) -> tuple[tuple[str, str, str], ...]:
    every = zip(options, baseline.options, other.options, strict=True)
    return tuple((factor, before, after) for factor, before, after in every if before != after)


def _flip_rate(found: Sequence[Choice], number: int) -> float:
    """Share of the pairs of treatments which differ in this factor alone whose winners differ."""
    groups: dict[tuple[str, ...], list[str | None]] = {}
    for choice in found:
        rest = choice.options[:number] + choice.options[number + 1 :]
        groups.setdefault(rest, []).append(choice.winner)
    pairs = [one != other for winners in groups.values() for one, other in itertools.combinations(winners, 2)]
    return sum(pairs) / len(pairs) if pairs else 0.0
