"""The grammar of claims: text to record, with errors that say where in the text.

::

    claim     = grade | quantity ("<=" | "≤" | "<") limit {condition}
    limit     = length | "lambda" ["/" number] | number ["/" number] "lambda" | number "fringes"
    condition = ("@" | "at") length                      test wavelength
              | "over" ["Ø"] length ["x" length]         aperture
              | "in" [length] (".." | "–") [length]      band of wavelengths
              | "cut-off" length                         longest wavelength of a profile, λc
              | ["reflected"] "wavefront" | "surface"
              | ("power" | "bow") "removed"
    grade     = ["ISO 1302"] "N1" … "N12" | "ISO 3650" "grade" ("K" | "0" | "1" | "2") length

``λ`` and ``wave`` stand for ``lambda``; conditions may come in any order, with or without commas. *Irregularity* is PV
with power removed, *flatness* the minimum zone. A claim sets an upper limit; every other relation is refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any

from core.errors import ClaimError, QuantityError
from core.fitness.claims.claim import AREAL, FLATNESS, PROFILE, Aperture, Claim, Limit, Removed, length_text
from core.fitness.claims.grades import (
    GAUGE_GRADES,
    ROUGHNESS,
    gauge_face,
    gauge_flatness,
)
from core.units import parse_length

_NUMBER = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_UNITS = ("mm", "um", "µm", "μm", "nm", "pm", "Å", "Å", "A", "m")
_LENGTH = re.compile(rf"({_NUMBER}\s*(?:{'|'.join(_UNITS)}))(?![a-wyzA-Z])")  # 25mmx20mm: an x may follow
_PLAIN = re.compile(_NUMBER)
_LAMBDA = re.compile(r"lambdas?\b|λ|waves?\b", re.IGNORECASE)
_FRINGES = re.compile(r"fringes?\b", re.IGNORECASE)
_WORD = re.compile(r"[^\W\d_][\w-]*(?:\(MZ\))?")
_NEXT = re.compile(r"\S{1,12}")

_QUANTITIES: dict[str, tuple[str, Removed]] = {
    "pv": ("PV", ""),
    "p-v": ("PV", ""),
    "fltt": ("PV", ""),
    "peak-to-valley": ("PV", ""),
    "pvr": ("PVr", ""),
    "pv99": ("PV99", ""),
    "mz": ("MZ", ""),
    "fltt(mz)": ("MZ", ""),
    "flatness": ("MZ", ""),
    "rms": ("RMS", ""),
    "fltq": ("RMS", ""),
    "irregularity": ("PV", "power"),
}

LONGEST = 400
"""Signs that a claim may have: it is one line, not a page."""


def parse(text: str) -> Claim:
    """The claim that a text states.

    Parameters
    ----------
    text : str
        One claim; see the grammar above.

    Returns
    -------
    Claim
        Lengths in metres.

    Raises
    ------
    ClaimError
        If the text is no claim; says at which sign, and what may stand there.

    Examples
    --------
    >>> claim = parse("PV <= λ/20 @ 632.8 nm over 25mm")
    >>> claim.limit, claim.text
    (3.164e-08, 'PV <= lambda/20 @ 632.8nm over 25mm')
    >>> parse("ISO 3650 grade K 10 mm").limit
    5e-08
    >>> parse("PV = 30nm")
    Traceback (most recent call last):
        ...
    core.errors.ClaimError: A claim sets an upper limit (at sign 4: “=”). Write <= after the quantity.
    """
    if len(text) > LONGEST:
        raise ClaimError(f"A claim of {len(text)} signs is too long", fix=f"Keep it within {LONGEST} signs.")
    here = _Cursor(text)
    claim = _grade(here) or _statement(here)
    if not here.done:
        raise here.problem("This is more than a grade says", "A grade stands alone.")
    return claim


@dataclass
class _Cursor:
    """A place in the text."""

    text: str
    at: int = field(default=0)

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        self._skip()
        found = pattern.match(self.text, self.at)
        if found:
            self.at = found.end()
        return found

    def word(self, *words: str) -> bool:
        """Whether one of these stands here; it is taken then."""
        self._skip()
        rest = self.text[self.at :].lower()
        for word in words:
            ends = rest[len(word) : len(word) + 1]
            if rest.startswith(word) and not (word[-1].isalpha() and (ends.isalpha() or ends == "-")):
                self.at += len(word)
                return True
        return False

    @property
    def done(self) -> bool:
        self._skip()
        return self.at >= len(self.text)

    def problem(self, what: str, fix: str) -> ClaimError:
        self._skip()
        found = _NEXT.match(self.text, self.at)
        return ClaimError(what, where=f"at sign {self.at + 1}: {f'“{found[0]}”' if found else 'the end'}", fix=fix)

    def _skip(self) -> None:
        while self.at < len(self.text) and (self.text[self.at].isspace() or self.text[self.at] in ",;"):
            # a comma before a digit may be a decimal comma
            if self.text[self.at] == "," and self.text[self.at + 1 : self.at + 2].isdigit():
                return
            self.at += 1


def _statement(here: _Cursor) -> Claim:
    quantity, removed = _quantity(here)
    relation = here.at
    if here.word(">=", "≥", ">", "="):
        here.at = relation
        raise here.problem("A claim sets an upper limit", "Write <= after the quantity.")
    if not here.word("<=", "≤", "<"):
        raise here.problem("After the quantity a limit is expected", "Write <= and the limit, such as PV <= 30nm.")
    claim = Claim(quantity, _limit(here), removed=removed)
    seen: set[str] = set()
    while not here.done:
        claim = _condition(here, claim, seen)
    return _checked(here, claim)


def _quantity(here: _Cursor) -> tuple[str, Removed]:
    start = here.at
    found = here.take(_WORD)
    word = found[0] if found else ""
    if word in AREAL or word in PROFILE:
        return word, ""
    if word.lower() in _QUANTITIES:
        return _QUANTITIES[word.lower()]
    here.at = start
    known = ", ".join((*FLATNESS, "flatness", "irregularity", *AREAL, *PROFILE))
    raise here.problem("A claim begins with what is claimed", f"Known are: {known}; and grades such as N3.")


def _limit(here: _Cursor) -> Limit:
    if here.take(_LAMBDA):
        return Limit(_positive(here), "lambda/") if here.word("/") else Limit(1.0, "lambda")
    start = here.at
    if length := _optional_length(here):
        return Limit(length)
    if here.take(_PLAIN):
        here.at = start
        number = _positive(here)
        if here.word("/"):
            number /= _positive(here)
        if here.take(_LAMBDA):
            return Limit(number, "lambda")
        if here.take(_FRINGES):
            return Limit(number, "fringe")
        raise here.problem("A limit needs a unit", "Write a length such as 0.5nm, lambda/20, or 2 fringes.")
    here.at = start
    raise here.problem("A limit is expected", "Write a length such as 0.5nm, lambda/20, or 2 fringes.")


def _condition(here: _Cursor, claim: Claim, seen: set[str]) -> Claim:
    start = here.at
    for name, read in _CONDITIONS.items():
        changes = read(here)
        if changes is None:
            here.at = start
            continue
        if name in seen:
            here.at = start
            raise here.problem(f"The {name} is stated twice", "State it once.")
        seen.add(name)
        return replace(claim, **changes)
    raise here.problem(
        "This condition is not understood",
        "Known are: @ 632.8nm, over 25mm, in 60nm..2um, cut-off 0.25mm, wavefront, surface, power removed, bow "
        "removed.",
    )


def _wavelength(here: _Cursor) -> dict[str, Any] | None:
    if not here.word("@", "at"):
        return None
    return {"wavelength": _length(here, "After @ the test wavelength is expected", "Write it as @ 632.8nm.")}


def _aperture(here: _Cursor) -> dict[str, Any] | None:
    if not here.word("over"):
        return None
    disc = here.word("ø", "⌀", "dia")
    said = "After “over” the size of the aperture is expected"
    first = _length(here, said, "Write it as over 25mm, over Ø25mm or over 30mm x 9mm.")
    if disc or not here.word("x", "×"):
        return {"aperture": Aperture(first, first, disc)}
    return {"aperture": Aperture(first, _length(here, said, "Write it as over 30mm x 9mm."))}


def _band(here: _Cursor) -> dict[str, Any] | None:
    if not here.word("in"):
        return None
    fix = "Write it as in 60nm..2um; one of the two may be left out."
    short = _optional_length(here)
    if not here.word("..", "…", "–", "-", "to"):
        raise here.problem("A band goes from one wavelength to another", fix)
    long = _optional_length(here)
    if short is None and long is None:
        raise here.problem("A band needs a wavelength", fix)
    if short is not None and long is not None and short >= long:
        raise here.problem("The band is empty", "The first wavelength must be the shorter one.")
    return {"band": (short, long)}


def _cutoff(here: _Cursor) -> dict[str, Any] | None:
    if not here.word("cut-off", "cutoff"):
        return None
    return {"band": (None, _length(here, "After “cut-off” λc is expected", "Write it as cut-off 0.25mm."))}


def _side(here: _Cursor) -> dict[str, Any] | None:
    here.word("reflected")
    if here.word("wavefront"):
        return {"wavefront": True}
    return {"wavefront": False} if here.word("surface") else None


def _form(here: _Cursor) -> dict[str, Any] | None:
    for word in ("power", "bow"):
        if here.word(word):
            if not here.word("removed", "subtracted"):
                raise here.problem(f"“{word}” needs “removed”", f"Write {word} removed, or leave it out.")
            return {"removed": word}
    return None


_CONDITIONS = {
    "wavelength": _wavelength,
    "aperture": _aperture,
    "band": _band,
    "cut-off": _cutoff,
    "side": _side,
    "form": _form,
}


def _checked(here: _Cursor, claim: Claim) -> Claim:
    """What contradicts itself is refused; what is merely left out is told in the verdict."""
    if claim.of_form and claim.band is not None:
        raise here.problem(f"{claim.quantity} speaks of an aperture, not of a band", "Leave the band out, or claim Sq.")
    if not claim.of_form and (claim.aperture or claim.removed or claim.wavefront):
        raise here.problem(
            f"{claim.quantity} is texture: aperture, power, bow and wavefront belong to form",
            "State a band, such as in 60nm..2um.",
        )
    return claim


def _grade(here: _Cursor) -> Claim | None:
    if here.word("iso 3650"):
        return _gauge_block(here)
    start = here.at
    named = here.word("iso 1302")
    found = here.take(_WORD)
    word = found[0].upper() if found else ""
    if word in ROUGHNESS:
        return Claim("Ra", Limit(ROUGHNESS[word]), grade=f"ISO 1302 {word}")
    here.at = start
    if named or re.fullmatch(r"N\d+", word):
        raise here.problem("There is no such roughness grade", f"The grades are {', '.join(ROUGHNESS)}.")
    return None


def _gauge_block(here: _Cursor) -> Claim:
    here.word("grade")
    grade = next((name for name in GAUGE_GRADES if here.word(name.lower())), None)
    if grade is None:
        raise here.problem("A gauge-block grade is expected", f"The grades are {', '.join(GAUGE_GRADES)}.")
    start = here.at
    length = _length(here, "The nominal length is expected", "Write it as ISO 3650 grade K 10 mm.")
    limit = gauge_flatness(grade, length)
    if limit is None:
        here.at = start
        raise here.problem("No gauge block has this length", "The standard goes from 0.5 mm to 1000 mm.")
    name = f"ISO 3650 grade {grade} {length_text(length)}"
    return Claim("MZ", Limit(limit), aperture=Aperture(*gauge_face(length)), grade=name)


def _length(here: _Cursor, what: str, fix: str) -> float:
    length = _optional_length(here)
    if length is None:
        raise here.problem(what, fix)
    return length


def _optional_length(here: _Cursor) -> float | None:
    start = here.at
    found = here.take(_LENGTH)
    if found is None:
        return None
    try:
        length = parse_length(found[1])
    except QuantityError as error:
        here.at = start
        raise here.problem("This is no length", "Write a number with its unit, such as 632.8nm.") from error
    if length <= 0:
        here.at = start
        raise here.problem("A length here must be more than 0", "Write a positive length.")
    return length


def _positive(here: _Cursor) -> float:
    start = here.at
    found = here.take(_PLAIN)
    number = float(found[0].replace(",", ".")) if found else 0.0
    if not 0 < number < float("inf"):
        here.at = start
        raise here.problem("A positive number is expected", "Such as lambda/20.")
    return number
