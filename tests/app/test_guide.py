"""The user guide: short pages, links that lead somewhere, examples that work, tables that agree with the program."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest

from core import formats
from core.formats.sidecar import read_sidecar
from core.measures import CATALOGUE
from core.scale import PRESETS
from core.treatment import STEPS, Treatment

PAGES = {
    Path(str(page)).name: page.read_text(encoding="utf-8")
    for page in resources.files("app").joinpath("guide").iterdir()
    if page.name.endswith(".md")
}


def test_all_pages_are_there() -> None:
    assert set(PAGES) == {
        "index.md", "comparing.md", "scale.md", "treatment.md", "standing.md", "uncertainty.md", "noise.md",
        "particles.md", "claims.md",
        "hand-over.md", "files.md", "safety.md",
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(PAGES))
def test_a_page_is_short_and_its_links_lead_somewhere(name: str) -> None:
    text = PAGES[name]
    assert text.startswith("# ")
    assert len(text.splitlines()) <= 60
    for target in re.findall(r"\]\(([^)]*)\)", text):
        assert target in PAGES


@pytest.mark.parametrize("name", sorted(set(PAGES) - {"index.md"}))
def test_every_page_is_linked_from_the_first(name: str) -> None:
    assert f"({name})" in PAGES["index.md"]


def _blocks(name: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", PAGES[name], flags=re.DOTALL)


def test_the_example_treatment_is_one() -> None:
    (text,) = _blocks("treatment.md", "toml")
    assert [step.do for step in Treatment.from_toml(text).steps] == ["mask", "level", "rows", "zero"]


def test_the_table_of_steps_names_known_steps() -> None:
    named = re.findall(r"^\| `(\w+)` \|", PAGES["treatment.md"], flags=re.MULTILINE)
    assert named
    assert set(named) <= set(STEPS)


def test_the_example_sidecar_is_understood(tmp_path: Path) -> None:
    (text,) = _blocks("files.md", "toml")
    tomllib.loads(text)
    (tmp_path / "scan.npy.toml").write_text(text, encoding="utf-8")
    said = read_sidecar(tmp_path / "scan.npy")
    assert said.pixel == pytest.approx((19.53e-9, 19.53e-9))
    assert said.unit == "nm"
    assert said.metadata["line_rate"] == 1.0
    assert said.metadata["probe_radius"] == pytest.approx(8e-9)


def test_the_table_of_formats_agrees_with_the_readers() -> None:
    rows = [line.split("|") for line in PAGES["files.md"].splitlines() if line.startswith("|") and "`." in line]
    read, written = ({suffix for row in rows for suffix in re.findall(r"`(\.\w+)`", row[cell])} for cell in (2, 3))
    assert read == set(formats.SUFFIXES)
    assert written == {suffix for form in formats.formats() for suffix in form.writes}


def test_readings_and_presets_are_those_of_the_program() -> None:
    readings = PAGES["comparing.md"].partition("## Readings")[2]
    assert set(re.findall(r"\*\*([A-Z]+[\w.()]*)\*\*", readings)) == set(CATALOGUE)
    presets = [preset for preset in PRESETS if preset != "typed"]
    rows = re.findall(r"^\| (?!preset)[^|-][^|]*\|", PAGES["scale.md"], flags=re.MULTILINE)
    assert len(rows) == len(presets)


def test_the_example_claims_are_understood() -> None:
    from core.fitness.claims import parse

    (text,) = _blocks("claims.md", "text")
    assert len([parse(line) for line in text.splitlines()]) == 6
