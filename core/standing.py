"""The standing: specimens in order of one reading, with ties.

Pairs are tested by Welch's t on the logarithm (on the value for readings of either sign), with one degree of freedom
as soon as one of the two has only two spots, and Holm's adjustment over all pairs at 5 %. Letters by
insert-and-absorb: two specimens share a letter if and only if they were not told apart.

References
----------
B. L. Welch, Biometrika 34 (1947) 28; S. Holm, Scand. J. Statist. 6 (1979) 65; H.-P. Piepho, J. Comput. Graph. Stat. 13
(2004) 456, doi:10.1198/1061860043515 (letters). The rule for two spots and the rates of false splits (1.3–4.3 % of
benches of equals) were simulated for this program.
"""

from __future__ import annotations

import itertools
import math
import string
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from core.heightmap import EMPTY, FloatArray
from core.power import SPOTS, Power, least_ratio, spots_needed
from core.probability import Dice, chances, shrunk_draws

LEVEL = 0.05

MOST_GROUPS = 200
"""Groups of ties beyond which letters follow the brackets."""


@dataclass(frozen=True, slots=True)
class Place:
    """One line of the standing.

    Attributes
    ----------
    rank : int
        1 is the lowest reading. Order alone; `tie` says what is proven.
    specimen : str
        Its name.
    tie : str or None
        Letters; specimens that share one are not told apart. None when a single scan stands for the specimen, or when
        its reading may not stand beside the others.
    probability_best : float or None
        Probability that this specimen is truly the lowest of those that have letters; None without a letter.
    proven : bool
        Whether the place rests on at least two spots.
    value : float or None
        The ranking reading, SI; None when it could not be had (such specimens come last).
    limited : bool
        Whether the reading is at the limit of the instrument: an upper bound, tied with everything below.
    comparable : bool
        False when the reading is set aside: it may not stand beside those of most others and is shown grey.
    not_comparable_with : tuple of str
        The specimens it makes a red pair with.
    probability_rank : tuple of float
        Probability of the first, second, ... place among those that have letters; empty without a letter.
    """

    rank: int
    specimen: str
    tie: str | None
    probability_best: float | None
    proven: bool
    value: float | None
    limited: bool = False
    comparable: bool = True
    not_comparable_with: tuple[str, ...] = ()
    probability_rank: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Ranking:
    """The standing with all that is known of its pairs.

    Attributes
    ----------
    places : tuple of Place
        Best first; specimens without any value last.
    tested : tuple of str
        The specimens that were tested against each other, best first: comparable, with two spots or more.
    p_values : tuple of tuple of float
        Of each pair of `tested`, after Holm's adjustment; 1 on the diagonal.
    apart : frozenset of (str, str)
        Pairs told apart, the lower first.
    probability_lower : tuple of tuple of float
        ``[i][j]``: that the i-th of `tested` is truly lower than the j-th; ½ on the diagonal.
    brackets : tuple of tuple of str
        Runs of neighbours to be bracketed in a figure: every run as long as it can be, no run without a reason. They
        keep the order, so they say a little less than the letters where specimens scatter very differently.
    power : Power or None
        What spots as many as these can tell apart; None where nothing was tested, or not on the logarithm.
    """

    places: tuple[Place, ...]
    tested: tuple[str, ...] = ()
    p_values: tuple[tuple[float, ...], ...] = ()
    apart: frozenset[tuple[str, str]] = frozenset()
    probability_lower: tuple[tuple[float, ...], ...] = ()
    brackets: tuple[tuple[str, ...], ...] = ()
    power: Power | None = None

    def tied_with(self, specimen: str) -> tuple[str, ...]:
        """The tested specimens that this tested one is not told apart from."""
        return tuple(
            other
            for other in self.tested
            if other != specimen and not {(specimen, other), (other, specimen)} & self.apart
        )


def stand(spots: Mapping[str, Sequence[float]], *, positive: bool, rng: np.random.Generator) -> tuple[Place, ...]:
    """Rank specimens by the values of one reading at their spots, lowest first: the places of `rank`.

    Examples
    --------
    >>> places = stand({"film": [2.0, 2.1, 1.9], "mica": [0.1, 0.11, 0.12], "disc": [2.0]}, positive=True,
    ...                rng=np.random.default_rng(1))
    >>> [(place.specimen, place.tie) for place in places]
    [('mica', 'a'), ('film', 'b'), ('disc', None)]
    """
    return rank(spots, positive=positive, rng=rng).places


def rank(
    spots: Mapping[str, Sequence[float]],
    *,
    positive: bool,
    rng: np.random.Generator | None = None,
    dice: Dice | None = None,
    limited: Collection[str] = (),
    set_aside: Collection[str] = (),
    partners: Mapping[str, Collection[str]] = EMPTY,
) -> Ranking:
    """Rank specimens by the values of one reading at their spots, lowest first, with ties and probabilities.

    Parameters
    ----------
    spots : mapping of str to sequence of float
        Values by specimen, SI, raw: a floor of the day shifts all alike and √(S² − N²) keeps their order, so readings
        are compared before noise is taken off. Spots that could not be read are left out by the caller.
    positive : bool
        Whether the reading is positive by nature: then the logarithm is compared.
    rng : numpy.random.Generator, optional
        For the probabilities; needed unless `dice` are given.
    dice : Dice, optional
        Random numbers thrown before, for the specimens of `entrants` in their order: for a slider.
    limited : collection of str, optional
        Specimens at the limit of the instrument. They are tied with each other and with everything that reads lower,
        whatever the test says, and are upper bounds in the draws.
    set_aside : collection of str, optional
        Specimens that are not comparable with most others (`core.trust.comparability.set_aside`): neither tested nor
        drawn, so that they change nothing for the others.
    partners : mapping of str to collection of str, optional
        By specimen, those that it makes a red pair with; only passed on.

    Returns
    -------
    Ranking

    Examples
    --------
    >>> found = rank({"film": [2.0, 2.1, 1.9], "mica": [0.1, 0.11, 0.12], "gold": [0.12, 0.13, 0.11]}, positive=True,
    ...              rng=np.random.default_rng(1))
    >>> found.tested, found.brackets, sorted(found.apart)
    (('mica', 'gold', 'film'), (('mica', 'gold'), ('film',)), [('gold', 'film'), ('mica', 'film')])
    """
    on_log = positive and all(value > 0 for values in spots.values() for value in values)
    largest = max((abs(value) for values in spots.values() for value in values), default=0.0) or 1.0
    scaled = {n: np.log(values) if on_log else np.asarray(values, float) / largest for n, values in spots.items()}
    order = sorted(spots, key=lambda name: float(scaled[name].mean()) if len(spots[name]) else math.inf)
    among = entrants(spots, set_aside)
    tested = [name for name in order if name in among]
    samples = [scaled[name] for name in tested]
    bounds = [number for number, name in enumerate(tested) if name in limited]
    adjusted = p_values(samples)
    apart = resolved({pair for pair, p in adjusted.items() if p < LEVEL}, bounds)
    letters = dict(zip(tested, tie_letters(len(tested), apart), strict=True))
    found = None
    if len(tested) > 1:
        if dice is None:
            dice = Dice.thrown([len(spots[name]) for name in among], rng=rng or np.random.default_rng())
        drawn = shrunk_draws([scaled[name] for name in among], dice, limited=[among.index(tested[b]) for b in bounds],
                             on_log=on_log)  # fmt: skip
        found = chances(drawn[:, [among.index(name) for name in tested]])
    chance = {} if found is None else dict(zip(tested, found.lowest.tolist(), strict=True))
    ranks = {} if found is None else dict(zip(tested, map(tuple, found.rank.tolist()), strict=True))
    typical = {n: _centre(values, largest, on_log=on_log) for n, values in scaled.items()}
    return Ranking(
        places=tuple(
            Place(
                place,
                name,
                letters.get(name),
                chance.get(name),
                len(spots[name]) > 1,
                typical[name],
                limited=name in limited,
                comparable=name not in set_aside,
                not_comparable_with=tuple(partners.get(name, ())),
                probability_rank=ranks.get(name, ()),
            )
            for place, name in enumerate(order, start=1)
        ),
        tested=tuple(tested),
        p_values=_matrix(len(tested), adjusted),
        apart=frozenset((tested[i], tested[j]) for i, j in apart),
        probability_lower=() if found is None else tuple(map(tuple, found.lower.tolist())),
        brackets=tuple(tuple(tested[i] for i in run) for run in brackets(len(tested), apart)),
        power=_power(tested, samples, apart, limited) if on_log and len(tested) > 1 else None,
    )


def entrants(spots: Mapping[str, Sequence[float]], set_aside: Collection[str] = ()) -> list[str]:
    """The specimens that are tested and drawn, in the order given: two spots or more, and comparable."""
    return [name for name, values in spots.items() if len(values) > 1 and name not in set_aside]


def _power(
    tested: Sequence[str], samples: Sequence[FloatArray], apart: Collection[tuple[int, int]], limited: Collection[str]
) -> Power | None:
    freedom = sum(sample.size - 1 for sample in samples)
    scatter = math.sqrt(sum(float(sample.var(ddof=1)) * (sample.size - 1) for sample in samples) / freedom)
    if scatter == 0:
        return None
    level = LEVEL / max(1, len(samples) - 1)
    fewest = min(sample.size for sample in samples)
    tied = (0, 1) not in apart and not set(tested[:2]) & set(limited)
    log_ratio = float(samples[1].mean() - samples[0].mean())
    return Power(
        scatter,
        fewest,
        least_ratio(scatter, fewest, level=level),
        least_ratio(scatter, SPOTS, level=level),
        tied=(tested[0], tested[1]) if tied else None,
        needed=spots_needed(log_ratio, scatter, level=level) if tied else None,
    )


def _matrix(count: int, values: Mapping[tuple[int, int], float]) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(values.get((min(i, j), max(i, j)), 1.0) for j in range(count)) for i in range(count))


def _centre(scaled: FloatArray, unit: float, *, on_log: bool) -> float | None:
    if scaled.size == 0:
        return None
    return math.exp(scaled.mean()) if on_log else float(scaled.mean()) * unit


def p_values(samples: Sequence[FloatArray]) -> dict[tuple[int, int], float]:
    """Holm-adjusted p of every pair ``(i, j)``, i < j."""
    pairs = list(itertools.combinations(range(len(samples)), 2))
    return dict(zip(pairs, holm([welch(samples[i], samples[j]) for i, j in pairs]), strict=True))


def resolved(apart: set[tuple[int, int]], limited: Collection[int]) -> set[tuple[int, int]]:
    """The pairs that stay apart when some are upper bounds, items numbered from the lowest.

    A bound may truly lie anywhere below its reading: it is apart only from what reads higher and is no bound itself.

    >>> sorted(resolved({(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)}, [1, 2]))
    [(0, 3), (1, 3), (2, 3)]
    """
    return {(i, j) for i, j in apart if j not in limited}


def told_apart(samples: Sequence[FloatArray]) -> set[tuple[int, int]]:
    """Pairs ``(i, j)``, i < j, whose means differ at 5 % after Holm's adjustment."""
    return {pair for pair, p in p_values(samples).items() if p < LEVEL}


def welch(first: FloatArray, second: FloatArray, *, two_spot_rule: bool = True) -> float:
    """Two-sided p of Welch's t test.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        At least two values each.
    two_spot_rule : bool, default True
        One degree of freedom if either sample has two values. Without it, equal surfaces with two spots and unequal
        scatter are told apart in up to 8.6 % of benches instead of 5 %.

    Returns
    -------
    float
        p, 0 to 1.

    Examples
    --------
    >>> a, b = np.array([0.21, 0.24, 0.22, 0.25, 0.23]), np.array([0.27, 0.31, 0.26, 0.33, 0.29, 0.28])
    >>> round(welch(a, b), 10)
    0.0013811298
    """
    from scipy.special import stdtr

    errors = [sample.var(ddof=1) / sample.size for sample in (first, second)]
    total = float(sum(errors))
    difference = float(first.mean() - second.mean())
    if total == 0:
        return 1.0 if difference == 0 else 0.0
    freedom = total**2 / sum(e**2 / (s.size - 1) for e, s in zip(errors, (first, second), strict=True))
    if two_spot_rule and min(first.size, second.size) == 2:
        freedom = 1.0
    return float(2 * stdtr(freedom, -abs(difference) / math.sqrt(total)))


def holm(p: Sequence[float]) -> list[float]:
    """Holm's step-down adjustment of p values, in the order given.

    >>> [round(q, 4) for q in holm([0.010, 0.040, 0.030, 0.005])]
    [0.03, 0.06, 0.06, 0.02]
    """
    adjusted, running = [0.0] * len(p), 0.0
    for place, index in enumerate(sorted(range(len(p)), key=lambda i: p[i])):
        running = max(running, min(1.0, (len(p) - place) * p[index]))
        adjusted[index] = running
    return adjusted


def tie_letters(count: int, apart: set[tuple[int, int]]) -> list[str]:
    """Letters such that two items share one if and only if they are not told apart.

    Insert and absorb: begin with one group of all; every pair told apart splits each group that holds both; a group
    inside another is absorbed. Groups are lettered by their first member. Pairs told apart here and there among many
    can need more groups than anybody can read (each such pair may double them): beyond 200 the brackets are lettered
    instead, which never split what is tied and say a little less.

    Examples
    --------
    >>> tie_letters(3, {(0, 2)})
    ['a', 'ab', 'b']
    """
    groups = [(1 << count) - 1] if count else []  # a group is a number whose binary digits are its members
    for i, j in sorted(apart):
        both = 1 << i | 1 << j
        whole = [group for group in groups if group & both != both]
        parts = {group & ~(1 << one) for group in groups if group & both == both for one in (i, j)}
        # none of the groups that stayed whole can lie in a part of another, so only the parts are looked at
        kept = [part for part in parts if not any(part & other == part for other in whole)]
        groups = whole + [part for part in kept if not any(part & o == part and part != o for o in kept)]
        if len(groups) > MOST_GROUPS:
            groups = [sum(1 << item for item in run) for run in brackets(count, apart)]
            break
    members = sorted([item for item in range(count) if group >> item & 1] for group in groups)
    words = [""] * count
    for number, group in enumerate(members):
        for item in group:
            words[item] += _letter(number)
    return words


def brackets(count: int, apart: Collection[tuple[int, int]]) -> list[range]:
    """Runs of neighbours in the order of the standing that a figure may bracket, each as long as it can be.

    Interval closure: a pair counts as split only if every pair around it is split too, so that no bracket skips a rank.

    Examples
    --------
    >>> [list(run) for run in brackets(4, {(0, 3), (1, 3), (0, 2)})]
    [[0, 1], [1, 2], [2, 3]]
    >>> [list(run) for run in brackets(3, {(0, 1)})]  # 0 and 2 are tied, so 1 between them cannot be split off
    [[0, 1, 2]]
    """
    reach = [max([j for j in range(i, count) if (i, j) not in apart], default=i) for i in range(count)]
    runs = [range(i, reach[i] + 1) for i in range(count)]
    return [run for run in runs if not any(o.start <= run.start and run.stop <= o.stop and o != run for o in runs)]


def _letter(number: int) -> str:
    """a … z, then a1 … z1 and so on."""
    turn, place = divmod(number, 26)
    return string.ascii_lowercase[place] + (str(turn) if turn else "")
