"""A file is replaced whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from core.atomic import atomic
from core.errors import FileProblem, MapError


def test_a_new_file_appears_when_the_block_ends(tmp_path: Path) -> None:
    target = tmp_path / "sheet.json"
    with atomic(target) as temporary:
        temporary.write_text("new")
        assert not target.exists()
        assert temporary.parent == tmp_path
        assert temporary.suffix == ".json"
    assert target.read_text() == "new"
    assert list(tmp_path.iterdir()) == [target]


def test_an_error_leaves_the_old_file_and_no_litter(tmp_path: Path) -> None:
    target = tmp_path / "sheet.json"
    target.write_text("old")
    with pytest.raises(MapError), atomic(target) as temporary:
        temporary.write_text("half")
        raise MapError("stop")
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


def test_an_interrupt_leaves_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "sheet.json"
    target.write_text("old")
    with pytest.raises(KeyboardInterrupt), atomic(target) as temporary:
        temporary.write_text("half")
        raise KeyboardInterrupt
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


def test_an_old_file_is_replaced(tmp_path: Path) -> None:
    target = tmp_path / "sheet.json"
    target.write_text("old and much longer")
    with atomic(target) as temporary:
        temporary.write_text("new")
    assert target.read_text() == "new"


def test_a_block_that_writes_nothing_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="cannot be written"), atomic(tmp_path / "sheet.json"):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_long_name_still_fits_into_the_folder(tmp_path: Path) -> None:
    target = tmp_path / ("x" * 240 + ".json")
    with atomic(target) as temporary:
        temporary.write_text("new")
    assert target.read_text() == "new"


def test_a_link_keeps_pointing_at_the_replaced_file(tmp_path: Path) -> None:
    target, link = tmp_path / "real.json", tmp_path / "link.json"
    target.write_text("old")
    try:
        link.symlink_to(target)
    except OSError:
        pytest.skip("this system makes no links")
    with atomic(link) as temporary:
        temporary.write_text("new")
    assert link.is_symlink()
    assert target.read_text() == "new"


@pytest.mark.parametrize(
    ("place", "words"), [("", "folder, not a file"), ("absent/sheet.json", "folder is not there"), ("a\0b", "no place")]
)
def test_impossible_places_are_refused(tmp_path: Path, place: str, words: str) -> None:
    with pytest.raises(FileProblem, match=words), atomic(tmp_path / place):
        pass
