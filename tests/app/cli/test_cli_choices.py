"""``compare --choices``: the result of the choices test stands in the sheet."""

import json
from pathlib import Path

import numpy as np

from app.cli.group import lowrelief
from app.cli.status import DONE


def run(*words: object) -> int:
    status = lowrelief.main(args=[str(word) for word in words], prog_name="lowrelief", standalone_mode=False)
    return status if isinstance(status, int) else DONE


def scans(folder: Path) -> list[Path]:
    rng = np.random.default_rng(1)
    made = []
    for name, sq in (("mica", 1e-10), ("film", 2e-9)):
        for spot in (1, 2, 3):
            path = folder / f"{name}_spot{spot}.npy"
            np.save(path, sq * rng.standard_normal((48, 48)))
            made.append(path)
    return made


def test_the_sheet_says_how_often_each_specimen_wins(tmp_path: Path) -> None:
    import app.cli.compare  # noqa: F401 - registers the command

    files = scans(tmp_path)
    where = ("--pixel", "10nm", "--unit", "m", "--only", "json,html")
    assert run("compare", *files, "--out", tmp_path / "out", *where, "--choices") == DONE
    told = json.loads((tmp_path / "out" / "sheet.json").read_text(encoding="utf-8"))
    found = told["choices"]
    assert found["win_share"] == {"mica": 1.0, "film": 0.0}
    assert len(found["treatments"]) == 48
    assert found["verdict"] == "stable"
    assert found["sentence"] in (tmp_path / "out" / "sheet.html").read_text(encoding="utf-8")
    assert run("compare", *files, "--out", tmp_path / "bare", *where) == DONE
    told = json.loads((tmp_path / "bare" / "sheet.json").read_text(encoding="utf-8"))
    assert told["choices"] is None
    assert [place["comparable"] for place in told["standing"]] == [True, True]
