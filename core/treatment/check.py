"""Checks on parameters that several steps share. A treatment is typed by people: every value is looked at."""

from __future__ import annotations

from collections.abc import Iterable

from core.errors import TreatmentError


def one_of(step: str, name: str, value: object, known: Iterable[str]) -> None:
    """Refuse a word that the step does not know."""
    words = tuple(known)
    if value not in words:
        raise TreatmentError(
            f"The step “{step}” does not know {name} = {value!r}", fix=f"It knows: {', '.join(words)}."
        )


def whole(step: str, name: str, value: object, allowed: range) -> int:
    """The value as a whole number within a range, or a refusal."""
    if isinstance(value, bool) or not isinstance(value, int) or value not in allowed:
        raise TreatmentError(
            f"The step “{step}” needs “{name}” as a whole number from {allowed[0]} to {allowed[-1]}, not {value!r}"
        )
    return value


def number(step: str, name: str, value: object, low: float, high: float) -> float:
    """The value as a number from `low` to `high`, or a refusal."""
    if isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high:
        return float(value)
    raise TreatmentError(f"The step “{step}” needs “{name}” as a number from {low:g} to {high:g}, not {value!r}")


def unused(step: str, name: str, value: object, when: str) -> None:
    """Refuse a parameter that would do nothing: whoever wrote it meant something else."""
    if value is not None:
        raise TreatmentError(f"The step “{step}” takes “{name}” only with {when}", fix=f"Leave “{name}” out.")
