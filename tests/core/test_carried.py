"""What figure and sheet carry comes back to the last digit; anything else is refused."""

from __future__ import annotations

import json

import pytest
from PIL import Image

from core.carried import carried_by
from core.errors import DamagedFile, FileProblem, LowreliefError, UnknownFormat
from core.handover import write_all
from core.sheet.record import carried
from core.treatment import Treatment


@pytest.mark.parametrize("kind", ["json", "csv", "html", "xlsx", "png", "svg", "pdf"])
def test_every_digit_comes_back(hostile, tmp_path, kind):
    (path,) = write_all(hostile, tmp_path, only=kind)
    found = carried_by(path)
    wanted = json.loads(json.dumps(carried(hostile)))
    for key, value in wanted.items():
        if key != "scans":
            assert found[key] == value
    for scan, other in zip(found["scans"], wanted["scans"], strict=True):
        assert {key: scan[key] for key in other} == other
    assert Treatment.from_list(found["treatment"]["steps"]) == hostile.treatment


def test_foreign_files_are_refused(tmp_path):
    Image.new("RGB", (4, 4)).save(tmp_path / "a.png")
    (tmp_path / "a.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    (tmp_path / "a.pdf").write_bytes(b"%PDF-1.4 /Keywords (no json\\)) trailer")
    (tmp_path / "a.json").write_text("[1, 2]")
    (tmp_path / "b.json").write_text('{"program": {"name": "lowrelief"}}')
    (tmp_path / "c.json").write_text('{"program": {"name": "lowrelief"}, "schema": 99, "scans": []}')
    (tmp_path / "b.svg").write_text('<!DOCTYPE x [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]><svg>&b;</svg>')
    (tmp_path / "b.png").write_bytes(b"\x89PNG\r\n\x1a\nbroken")
    for path in sorted(tmp_path.iterdir()):
        with pytest.raises(DamagedFile) as caught:
            carried_by(path)
        assert str(path) in caught.value.where


def test_other_kinds_and_missing_files_are_refused(tmp_path):
    with pytest.raises(UnknownFormat):
        carried_by(tmp_path / "a.docx")
    with pytest.raises(FileProblem):
        carried_by(tmp_path / "a.png")
    assert issubclass(UnknownFormat, LowreliefError)
