"""``compare`` with a plan of the figure, from a file and from single words."""

from __future__ import annotations

import numpy as np
from click.testing import CliRunner

from app.cli import lowrelief
from core.carried import carried_by
from core.figure.composed import FigurePlan, plan_in
from core.formats import write
from core.heightmap import HeightMap


def run(tmp_path, *options):
    rng = np.random.default_rng(3)
    for name in ("mica", "film"):
        write(HeightMap(1e-9 * rng.standard_normal((24, 24)), (1e-8, 1e-8), name), tmp_path / f"{name}.x3p")
    scans = [str(tmp_path / "mica.x3p"), str(tmp_path / "film.x3p")]
    return CliRunner().invoke(
        lowrelief, ["compare", *scans, "--out", str(tmp_path / "out"), "--only", "svg", *options], standalone_mode=False
    )


def test_words_make_a_plan(tmp_path):
    done = run(tmp_path, "--page", "column", "--rows", "shared,ranking", "--look", "dark")
    assert done.exception is None
    found = plan_in(carried_by(tmp_path / "out" / "figure.svg"))
    assert found == FigurePlan(page="column", rows=("shared", "ranking"), look="dark")


def test_a_plan_from_a_file_is_kept_and_words_win(tmp_path):
    plan = FigurePlan(rows=("own",), notes="Invented data.")
    (tmp_path / "plan.toml").write_text(plan.to_toml(), encoding="utf-8")
    done = run(tmp_path, "--figure", str(tmp_path / "plan.toml"), "--look", "dark")
    assert done.exception is None
    found = plan_in(carried_by(tmp_path / "out" / "figure.svg"))
    assert found == FigurePlan(rows=("own",), notes="Invented data.", look="dark")


def test_a_wrong_word_is_wrong_use(tmp_path):
    assert "no page" in str(run(tmp_path, "--page", "wall").exception)
