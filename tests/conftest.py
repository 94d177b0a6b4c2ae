"""Fixtures that all tests share."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# The same examples in every default run: a change is judged by what it changes. `test --all` draws new ones.
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("new", deadline=None)
settings.load_profile("same")

_approx = pytest.approx


def _relative_only(expected: Any, rel: Any = None, abs: Any = None, nan_ok: bool = False) -> Any:
    """`pytest.approx` without its silent absolute tolerance of 1e-12.

    Heights are 1e-10 m and areas 1e-14 m² here: left in, it would let a wrong number pass. Who compares with 0 says
    `abs`.
    """
    if abs is None:
        rel, abs = 1e-6 if rel is None else rel, 0
    return _approx(expected, rel=rel, abs=abs, nan_ok=nan_ok)


pytest.approx = _relative_only


def pytest_configure(config: pytest.Config) -> None:
    """The thorough run draws examples that nobody has seen."""
    if config.getoption("markexpr") == "long or not long":
        settings.load_profile("new")


CHECKS = Path(__file__).parent / "reference" / "checks.json"


@pytest.fixture(scope="session")
def expected() -> Callable[..., Any]:
    """Reference value by entry and quantity, with its own tolerance: ``assert sq == expected("1.01|Sq", unit=1e-9)``.

    `unit` turns the value and its absolute tolerance into SI; `rel` replaces the tolerance, with the reason beside it.
    See reference/README.md for where the values come from.
    """
    entries = {entry["id"]: entry for entry in json.loads(CHECKS.read_text(encoding="utf-8"))}

    def look_up(name: str, unit: float = 1.0, rel: float | None = None) -> Any:
        entry = entries[name]
        value = unit * entry["expected"]
        if rel is not None:
            return pytest.approx(value, rel=rel, abs=0)
        return pytest.approx(value, rel=entry["rel_tol"] or 0, abs=unit * (entry["abs_tol"] or 0))

    return look_up
