"""The public names of the package: complete, lazy, and cheap to import."""

from __future__ import annotations

import subprocess
import sys

import pytest

import core

HEAVY = ("numpy", "scipy", "h5py", "matplotlib", "skimage", "tifffile")


def run(code: str) -> str:
    """What a fresh interpreter prints."""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_import_is_cheap() -> None:
    assert run(f"import sys, core; print([m for m in {HEAVY} if m in sys.modules])") == "[]"


def test_measuring_heights_needs_numpy_only() -> None:
    code = (
        "import sys, core; core.readings(core.Treatment.default().apply(core.HeightMap([[0, 1e-9], [0, 3e-9]], "
        f"pitch=(1e-8, 1e-8))), ['Sq', 'Sz', 'Sdq']); print([m for m in {HEAVY[1:]} if m in sys.modules])"
    )
    assert run(code) == "[]"


@pytest.mark.parametrize("name", core.__all__)
def test_every_name_is_there(name: str) -> None:
    assert callable(getattr(core, name))
    assert name in dir(core)


def test_compare_is_the_function_whichever_came_first() -> None:
    assert run("import core.compare; from core import compare; print(type(compare).__name__)") == "function"
    assert run("from core import compare; import core.compare; print(type(core.compare).__name__)") == "function"
    assert run("from core.compare import compare; import core; print(core.compare is compare)") == "True"


def test_unknown_name() -> None:
    with pytest.raises(AttributeError, match="flatten"):
        core.flatten  # noqa: B018
