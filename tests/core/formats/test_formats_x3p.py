"""X3P: types, increments, axes, validity, checksums, and archives that lie."""

from __future__ import annotations

import hashlib
import io
import zipfile
from pathlib import Path

import numpy as np
import pytest

from core.errors import DamagedFile, LowreliefError, NoHeights, PixelMissing, UnitMissing
from core.formats import read, write
from core.heightmap import HeightMap

TYPES = {"I": "<i2", "L": "<i4", "F": "<f4", "D": "<f8"}
Z = np.array([[1, -2, 3], [40, 5, -6]])


def axis(kind: str, dtype: str, increment: str = "", offset: str = "") -> str:
    return (
        f"<AxisType>{kind}</AxisType><DataType>{dtype}</DataType>"
        + (f"<Increment>{increment}</Increment>" if increment else "")
        + (f"<Offset>{offset}</Offset>" if offset else "")
    )


def main_xml(
    data: str,
    *,
    x: str = axis("I", "D", "2e-6", "0"),
    y: str = axis("I", "D", "1e-6", "0"),
    z: str = axis("A", "D"),
    sizes: tuple[object, object, object] = (3, 2, 1),
    kind: str = "SUR",
    before: str = "",
) -> bytes:
    return f"""{before}<?xml version="1.0" encoding="UTF-8"?>
<p:ISO5436_2 xmlns:p="http://www.opengps.eu/2008/ISO5436_2"><Record1><Revision>ISO5436 - 2000</Revision>
<FeatureType>{kind}</FeatureType><Axes><CX>{x}</CX><CY>{y}</CY><CZ>{z}</CZ></Axes></Record1>
<Record3><MatrixDimension><SizeX>{sizes[0]}</SizeX><SizeY>{sizes[1]}</SizeY><SizeZ>{sizes[2]}</SizeZ></MatrixDimension>
{data}</Record3><Record4><ChecksumFile>md5checksum.hex</ChecksumFile></Record4></p:ISO5436_2>""".encode()


def link(points: bytes, valid: bytes | None = None, *, md5: str | None = None) -> str:
    said = hashlib.md5(points).hexdigest() if md5 is None else md5
    text = f"<PointDataLink>bindata/data.bin</PointDataLink><MD5ChecksumPointData>{said}</MD5ChecksumPointData>"
    if valid is not None:
        text += (
            "<ValidPointsLink>bindata/valid.bin</ValidPointsLink>"
            f"<MD5ChecksumValidPoints>{hashlib.md5(valid).hexdigest()}</MD5ChecksumValidPoints>"
        )
    return f"<DataLink>{text}</DataLink>"


def archive(folder: Path, members: dict[str, bytes]) -> Path:
    file = folder / "scan.x3p"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in members.items():
            packed.writestr(name, content)
    return file


@pytest.mark.parametrize("kind", TYPES)
def test_every_type_of_height_with_increment_and_offset(tmp_path: Path, kind: str) -> None:
    points = Z.astype(TYPES[kind]).tobytes()
    xml = main_xml(link(points), z=axis("I", kind, "1e-9", "5e-9"))
    scan = read(archive(tmp_path, {"main.xml": xml, "bindata/data.bin": points}))[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9 + 5e-9, rtol=1e-14, atol=1e-24)
    assert scan.pitch == (1e-6, 2e-6)


def test_upper_case_checksum_byte_order_mark_and_backslashes(tmp_path: Path) -> None:
    points = Z.astype("<f8").tobytes()
    xml = main_xml(link(points, md5=hashlib.md5(points).hexdigest().upper()), before="\ufeff")
    members = {
        "main.xml": xml,
        "bindata\\data.bin": points,
        "md5checksum.hex": f"{hashlib.md5(xml).hexdigest().upper()} *main.xml".encode(),
    }
    np.testing.assert_array_equal(read(archive(tmp_path, members))[0].z, Z)


def test_validity_bits_are_lowest_first_and_infinities_missing(tmp_path: Path) -> None:
    heights = Z.astype("<f8")
    heights[1, 1], heights[1, 2] = np.inf, np.nan
    valid = bytes([0b00111101])  # the second point of six is cleared
    xml = main_xml(link(heights.tobytes(), valid))
    file = archive(tmp_path, {"main.xml": xml, "bindata/data.bin": heights.tobytes(), "bindata/valid.bin": valid})
    assert np.isnan(read(file)[0].z).tolist() == [[False, True, False], [False, True, True]]


def test_absolute_axes_stand_before_each_height(tmp_path: Path) -> None:
    i, j = np.mgrid[:2, :3]
    table = np.zeros(6, dtype=[("x", "<f8"), ("y", "<i2"), ("z", "<i4")])
    table["x"], table["y"], table["z"] = (j * 3e-6).ravel(), (10 + i).ravel(), Z.ravel()
    xml = main_xml(link(table.tobytes()), x=axis("A", "D"), y=axis("A", "I", "4e-6", "1"), z=axis("A", "L", "1e-9"))
    scan = read(archive(tmp_path, {"main.xml": xml, "bindata/data.bin": table.tobytes()}))[0]
    assert scan.pitch == pytest.approx((4e-6, 3e-6), rel=1e-9)
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-14)


def test_absolute_axes_without_a_lattice_are_refused(tmp_path: Path) -> None:
    table = np.zeros(6, dtype=[("x", "<f8"), ("z", "<f8")])
    table["x"] = [0, 1, 5, 0, 1, 5]
    xml = main_xml(link(table.tobytes()), x=axis("A", "D"))
    with pytest.raises(NoHeights, match="regular lattice"):
        read(archive(tmp_path, {"main.xml": xml, "bindata/data.bin": table.tobytes()}))


def test_a_list_with_all_three_coordinates(tmp_path: Path) -> None:
    data = "".join(f"<Datum>{j};{i};{Z[i, j]}e-9</Datum>" for i in range(2) for j in range(3))
    scan = read(archive(tmp_path, {"main.xml": main_xml(f"<DataList>{data}</DataList>")}))[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-14)
    assert scan.pitch == (1e-6, 2e-6)


def test_an_increment_that_is_not_said_is_asked_for(tmp_path: Path) -> None:
    xml = main_xml(link(POINTS), x=axis("I", "D"))
    with pytest.raises(PixelMissing, match="states no increment"):
        read(archive(tmp_path, {"main.xml": xml, "bindata/data.bin": POINTS}))
    xml = main_xml(link(POINTS), z=axis("I", "D"))
    with pytest.raises(UnitMissing):
        read(archive(tmp_path, {"main.xml": xml, "bindata/data.bin": POINTS}))


POINTS = Z.astype("<f8").tobytes()
WRONG: dict[str, tuple[dict[str, bytes], type[LowreliefError], str]] = {
    "profile": ({"main.xml": main_xml(link(POINTS), kind="PRF")}, NoHeights, "profile, not a map"),
    "layers": ({"main.xml": main_xml(link(POINTS), sizes=(3, 2, 2))}, NoHeights, "2 layers"),
    "one row": ({"main.xml": main_xml(link(POINTS), sizes=(6, 1, 1))}, NoHeights, "profile, not a map"),
    "no size": ({"main.xml": main_xml(link(POINTS), sizes=("", 2, 1))}, DamagedFile, "MatrixDimension"),
    "zero size": ({"main.xml": main_xml(link(POINTS), sizes=(0, 2, 1))}, DamagedFile, "0 points"),
    "huge size": ({"main.xml": main_xml(link(POINTS), sizes=(10**6, 10**6, 1))}, DamagedFile, "more than"),
    "too few bytes": (
        {"main.xml": main_xml(link(POINTS), sizes=(3, 3, 1)), "bindata/data.bin": POINTS}, DamagedFile, "48 bytes.*72"
    ),
    "too many bytes": (
        {"main.xml": main_xml(link(POINTS), sizes=(2, 2, 1)), "bindata/data.bin": POINTS}, DamagedFile, "48 bytes"
    ),
    "data not there": ({"main.xml": main_xml(link(POINTS))}, DamagedFile, "no bindata/data.bin"),
    "outside": (
        {"main.xml": main_xml(link(POINTS).replace("bindata/data.bin", "../../etc/passwd"))}, DamagedFile, "has no"
    ),
    "wrong checksum": (
        {"main.xml": main_xml(link(POINTS, md5="0" * 32)), "bindata/data.bin": POINTS}, DamagedFile, "checksum of b"
    ),
    "wrong checksum of main": (
        {"main.xml": main_xml(link(POINTS)), "bindata/data.bin": POINTS, "md5checksum.hex": b"0" * 32 + b" *main.xml"},
        DamagedFile, "checksum of main",
    ),
    "unknown type": (
        {"main.xml": main_xml(link(POINTS), z=axis("A", "Q")), "bindata/data.bin": POINTS}, DamagedFile, "Z axis"
    ),
    "increment nan": (
        {"main.xml": main_xml(link(POINTS), x=axis("I", "D", "nan")), "bindata/data.bin": POINTS}, DamagedFile, "X axis"
    ),
    "increment zero": (
        {"main.xml": main_xml(link(POINTS), x=axis("I", "D", "0")), "bindata/data.bin": POINTS}, DamagedFile, "X axis"
    ),
    "short list": ({"main.xml": main_xml("<DataList><Datum>1</Datum></DataList>")}, DamagedFile, "1 points.*6"),
    "no data": ({"main.xml": main_xml("")}, DamagedFile, "no Record3/DataList"),
    "no xml": ({"main.xml": b"no xml at all"}, DamagedFile, "breaks its rules"),
    "all missing": (
        {"main.xml": main_xml("<DataList>" + "<Datum/>" * 6 + "</DataList>")}, LowreliefError, "."
    ),
}  # fmt: skip


@pytest.mark.parametrize(("members", "error", "words"), WRONG.values(), ids=WRONG.keys())
def test_what_is_wrong_is_said(
    tmp_path: Path, members: dict[str, bytes], error: type[LowreliefError], words: str
) -> None:
    with pytest.raises(error, match=words):
        read(archive(tmp_path, members))


def test_entities_do_not_expand(tmp_path: Path) -> None:
    bomb = b"""<?xml version="1.0"?><!DOCTYPE b [<!ENTITY a "aaaaaaaaaa"><!ENTITY c "&a;&a;&a;&a;&a;&a;">]>
    <p:ISO5436_2 xmlns:p="x">&c;</p:ISO5436_2>"""
    with pytest.raises(DamagedFile, match="breaks its rules"):
        read(archive(tmp_path, {"main.xml": bomb}))


def test_external_entities_are_not_fetched(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("secret")
    xml = f'<!DOCTYPE b [<!ENTITY a SYSTEM "file://{tmp_path}/secret">]><b>&a;</b>'.encode()
    with pytest.raises(DamagedFile) as caught:
        read(archive(tmp_path, {"main.xml": xml}))
    assert "secret" not in caught.value.what.replace("/secret", "")


def test_an_archive_that_would_expand_without_bound_is_refused(tmp_path: Path) -> None:
    rows = columns = 4000
    zeros = bytes(rows * columns * 8)
    xml = main_xml(link(zeros), sizes=(columns, rows, 1))
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("main.xml", xml)
        packed.writestr("bindata/data.bin", zeros[:1000])
    # The directory at the end claims the large size; the stored stream is tiny.
    honest, lie = (1000).to_bytes(4, "little"), (len(zeros)).to_bytes(4, "little")
    data = bytearray(buffer.getvalue())
    entry = data.rindex(b"PK\x01\x02")
    assert data[entry + 24 : entry + 28] == honest
    data[entry + 24 : entry + 28] = lie
    (tmp_path / "bomb.x3p").write_bytes(data)
    with pytest.raises(DamagedFile, match="packed that tightly"):
        read(tmp_path / "bomb.x3p")


def test_a_member_larger_than_its_sizes_is_not_unpacked(tmp_path: Path) -> None:
    file = archive(tmp_path, {"main.xml": main_xml(link(POINTS)), "bindata/data.bin": bytes(10**8)})
    with pytest.raises(DamagedFile, match="at most 48"):
        read(file)


def test_a_truncated_archive(tmp_path: Path) -> None:
    write(HeightMap(Z * 1e-9, (1e-8, 1e-8)), tmp_path / "scan.x3p")
    data = (tmp_path / "scan.x3p").read_bytes()
    (tmp_path / "scan.x3p").write_bytes(data[: len(data) // 2])
    with pytest.raises(DamagedFile, match="cut short"):
        read(tmp_path / "scan.x3p")
