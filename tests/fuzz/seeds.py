"""The kept corpus: one small valid file for each form that a reader knows.

``python -m tests.fuzz.seeds`` writes it again. It is kept, and not made for each run, because libraries lay the same
file out differently from release to release, and a case is found again by its number only if the corpus stays the same.
"""

from __future__ import annotations

import io
import json
import shutil
import struct
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from core.bench import Bench, Refusal, Scan, Stated
from core.formats import write
from core.heightmap import HeightMap, Source
from tests.fuzz.targets import CORPUS, HERE

Z = np.round(np.random.default_rng(8).normal(size=(6, 5)), 3)
SDF = (
    "aISO-1.0\nManufacID   = by hand\nCreateDate  = 040320261200\nModDate     = 040320261200\nNumPoints   = 3\n"
    "NumProfiles = 2\nXscale      = 2E-6\nYscale      = 1E-6\nZscale      = 1e-9\nZresolution = -1\nCompression = 0\n"
    "DataType    = 7\nCheckType   = 0\n*\n1 2 BAD\n4 5 6\n*\nnote = none\n*\n"
)
LAYOUT = (
    'schema = 1\nname = "by hand"\nfiles = ["*.raw"]\nstarts = "HEAD"\ntype = "int16"\norder = "little"\n'
    'at = { after = "DATA\\n" }\nplace = true\ncolumns = { after = "Samples:" }\nrows = { after = "Lines:", nth = 1 }\n'
    'first = "bottom"\nalong = "rows"\ngain = { after = "Gain:", unit = "nm" }\nzero = 3\nmissing = [-32768]\n'
    'width = { after = "Size:" }\nchannel = "height"\ndirection = "trace"\n\n'
    '[[channels]]\nname = "back"\nat = "next"\nmirrored = true\ndirection = "retrace"\n\n'
    '[metadata]\nline_rate = { after = "Rate:" }\noperator = "A. B."\n'
)
TEXT_LAYOUT = (
    'schema = 1\nname = "written"\nfiles = ["*.raw"]\nstarts = "READ"\ntype = "text"\ndecimal = ","\n'
    'at = { after = "DATA\\n" }\nplace = true\ncolumns = 5\nacross = "2 nm"\nunit = "nm"\n'
)
HEAD = "HEAD\nSamples: 5\nLines: 6\nGain: 0.12 nm/count\nSize: 2.5 um\nRate: 1 Hz\nDATA\n"
TREATMENT = """schema = 1
[[step]]
do = "calibrate"
z = 1.02
[[step]]
do = "mask"
what = "outliers"
k = 5.0
grow = "2 px"
[[step]]
do = "level"
form = "polynomial"
degree = 2
[[step]]
do = "rows"
remove = "offset"
by = "median"
[[step]]
do = "fill"
[[step]]
do = "resample"
to = "20 nm"
[[step]]
do = "band"
shortest = "100 nm"
longest = "200 nm"
[[step]]
do = "zero"
at = "percentile"
percent = 5
"""


def main() -> None:
    """Write the corpus again."""
    shutil.rmtree(CORPUS, ignore_errors=True)
    for make in (_texts, _surface_data, _x3p, _numpy, _tiff, _hdf5, _layouts, _small_texts, _documents):
        make()


def _put(target: str, name: str, content: bytes | str) -> None:
    file = CORPUS / target / name
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(content.encode() if isinstance(content, str) else content)


def _place(target: str, name: str) -> Path:
    _put(target, name, b"")
    return CORPUS / target / name


def _rows(z: Any, delimiter: str = " ") -> str:
    return "\n".join(delimiter.join(f"{value:g}" for value in row) for row in z) + "\n"


def _texts() -> None:
    scan = HeightMap(Z * 1e-9, (1e-8, 2e-8), metadata={"operator": "A. B.", "line_rate": 1.0})
    write(scan, _place("text", "ours.txt"))
    _put("text", "matrix.txt", _rows(Z))
    _put("text", "comma.csv", "# Width: 5 um\n# Height: 4 um\n# Value units: nm\n" + _rows(Z, ","))
    _put("text", "decimal.csv", _rows(Z, ";").replace(".", ",") + ";;;;\n")
    _put("text", "edges.tsv", "0\t" + _rows([range(5)], "\t") + _rows(np.c_[range(6), Z], "\t"))
    _put("text", "wide.dat", "x\\y 1 2 3 4 5\n" + _rows(np.c_[range(1, 7), Z]))
    _put("text", "utf16.txt", _rows(Z).encode("utf-16"))
    rows, columns = np.indices(Z.shape)
    cloud = np.c_[columns.ravel() * 2, rows.ravel(), Z.ravel()]
    _put("points", "named.csv", "x_um,y_um,Height (nm)\n" + _rows(cloud, ","))
    _put("points", "bare.xyz", _rows(cloud[::-1]))
    _put("points", "holes.txt", "# x [nm] y [nm] z [nm] phase [deg]\n" + _rows(np.c_[cloud, cloud[:, 2]][3:]))
    grid = "ncols 5\nnrows 6\nxllcorner 0\nyllcorner 0\ncellsize 2\nNODATA_value -9999\n"
    _put("asciigrid", "grid.asc", grid + _rows(Z))
    _put("asciigrid", "oblong.asc", grid.replace("cellsize 2", "dx 2\ndy 1") + _rows(Z).replace("\n", "\r\n"))


def _surface_data() -> None:
    _put("sdf", "text.sdf", SDF)
    for kind, dtype in {0: "u1", 3: "<f4", 5: "<i2", 6: "<i4", 7: "<f8"}.items():
        head = b"bISO-1.0" + b"by hand".ljust(10) + b"040320261200" * 2 + struct.pack("<HH", 5, 6)
        scales = struct.pack("<dddd", 2e-6, 1e-6, 1e-9, -1.0) + struct.pack("<bbb", 0, kind, 0)
        _put("sdf", f"binary{kind}.sdf", head + scales + (Z * 10).astype(dtype).tobytes())


def _x3p() -> None:
    z = Z * 1e-9
    write(HeightMap(z, (1e-8, 2e-8)), _place("x3p", "whole.x3p"))
    z[2, 3] = np.nan
    write(HeightMap(z, (1e-8, 2e-8)), _place("x3p", "gaps.x3p"))
    for name, data in _listed().items():
        _put("x3p", name, data)


def _listed() -> dict[str, bytes]:
    """Points in the XML itself, and absolute axes beside binary heights."""
    rows, columns = np.indices((2, 3))
    absolute = np.zeros(6, [("x", "<f8"), ("y", "<f8"), ("z", "<i2")])
    absolute["x"], absolute["y"], absolute["z"] = columns.ravel() * 2e-6, rows.ravel() * 1e-6, range(6)
    binary = "<DataLink><PointDataLink>bindata/data.bin</PointDataLink></DataLink>"
    listed = "<DataList>" + "".join(f"<Datum>{z}</Datum>" for z in ("1", "2", "", "4", "5", "6")) + "</DataList>"
    axis = "<AxisType>I</AxisType><DataType>D</DataType><Increment>2e-6</Increment>"
    heights = "<AxisType>A</AxisType><DataType>I</DataType><Increment>1e-9</Increment><Offset>3e-9</Offset>"
    place = "<AxisType>A</AxisType><DataType>D</DataType>"
    return {
        "list.x3p": _archive({"main.xml": _main(axis, heights, listed)}),
        "absolute.x3p": _archive({"main.xml": _main(place, heights, binary), "bindata/data.bin": absolute.tobytes()}),
    }


def _main(axis: str, heights: str, data: str) -> bytes:
    return (
        '<?xml version="1.0" encoding="UTF-8"?><p:ISO5436_2 xmlns:p="http://www.opengps.eu/2008/ISO5436_2"><Record1>'
        f"<FeatureType>SUR</FeatureType><Axes><CX>{axis}</CX><CY>{axis}</CY><CZ>{heights}</CZ></Axes></Record1>"
        "<Record2><Date>2024-05-01</Date><Instrument><Model>M</Model></Instrument></Record2><Record3><MatrixDimension>"
        f"<SizeX>3</SizeX><SizeY>2</SizeY><SizeZ>1</SizeZ></MatrixDimension>{data}</Record3></p:ISO5436_2>"
    ).encode()


def _archive(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return out.getvalue()


def _numpy() -> None:
    for name, array in {"f8": Z, "f4": Z.astype(">f4"), "i2": np.asfortranarray((Z * 10).astype("i2"))}.items():
        np.save(_place("numpy", f"{name}.npy"), array)
    write(HeightMap(Z * 1e-9, (1e-8, 2e-8), metadata={"operator": "A. B."}), _place("numpy", "ours.npz"))
    np.savez(
        _place("numpy", "axes.npz"), z=Z, phase=Z, x=np.arange(5.0), y=np.arange(6.0), dx="2 nm", dy="1 nm", unit="nm"
    )


def _tiff() -> None:
    import tifffile

    write(HeightMap(Z * 1e-9, (1e-8, 2e-8), metadata={"operator": "A. B."}), _place("tiff", "ours.tif"))
    plain: dict[str, Any] = {"photometric": "minisblack", "metadata": None, "software": ""}
    z = np.tile(Z, (4, 4)).astype("f4")
    put = tifffile.imwrite
    put(_place("tiff", "tiles.tif"), z, tile=(16, 16), compression="zlib", **plain)
    put(_place("tiff", "lzma.tif"), z, compression="lzma", rowsperstrip=5, byteorder=">", **plain)
    put(_place("tiff", "big.tif"), z.astype(">i2"), bigtiff=True, resolution=(1e5, 1e5), resolutionunit=3, **plain)
    names = {"axes": "CYX", "PhysicalSizeX": 0.002, "PhysicalSizeY": 0.001, "Channel": {"Name": ["height", "phase"]}}
    put(_place("tiff", "named.ome.tif"), np.stack([Z, Z]).astype("f4"), ome=True, metadata=names)
    geographic = [(42113, "s", 0, "-9999", True)]
    put(_place("tiff", "nodata.tif"), z, extratags=geographic, description="a note", **plain)


def _hdf5() -> None:
    import h5py

    write(HeightMap(Z * 1e-9, (1e-8, 2e-8), metadata={"operator": "A. B."}), _place("hdf5", "ours.h5"))
    with h5py.File(_place("hdf5", "nexus.nxs"), "w") as file:
        file.attrs["default"] = "entry"
        entry = file.create_group("entry")
        entry.attrs.update({"NX_class": "NXentry", "default": "data"})
        group = entry.create_group("data")
        group.attrs.update({"NX_class": "NXdata", "signal": "z", "axes": ["y", "x"]})
        group["z"], group["x"], group["y"] = (Z * 100).astype("<i4"), np.arange(5.0) * 2, np.arange(6.0)
        group["z_errors"] = np.abs(Z)
        for name in ("x", "y", "z"):
            group[name].attrs["units"] = "nm"
        group["z"].attrs.update({"scaling_factor": 0.01, "offset": 1.0, "_FillValue": -1})
    with h5py.File(_place("hdf5", "plain.h5"), "w", libver="latest") as file:
        data = file.create_dataset("height", data=Z, chunks=(2, 5), compression="gzip", shuffle=True, fletcher32=True)
        data.attrs.update({"pixel": "2 nm", "unit": "nm", "date": "2024-05-01"})
    with h5py.File(_place("hdf5", "packed.h5"), "w", userblock_size=512) as file:
        file.create_dataset("a/height", data=np.tile(Z, (4, 4)), chunks=(8, 8), compression="lzf", fillvalue=-1)
        file["a"].attrs.update({"pitch": (1e-8, 2e-8), "unit": "nm"})
        file["a/words"] = ["of variable length", "another"]


def _layouts() -> None:
    counts = (Z * 100).astype("<i2")
    raw = HEAD.encode() + counts.tobytes() + counts[:, ::-1].tobytes()
    written = "READ\nDATA\n" + _rows(Z, ";").replace(".", ",")
    (HERE / "laid_out.raw").write_bytes(raw)
    _put("laid_out", "binary.raw", raw)
    _put("laid_out", "written.raw", written)
    _put("laid_out", "unknown.raw", bytes(40) + (np.tile(Z, (8, 8)) * 100).astype("<i2").tobytes())
    _put("layout", "binary.toml", LAYOUT)
    _put("layout", "written.toml", TEXT_LAYOUT)


def _small_texts() -> None:
    from core.log import Log, LogEntry, to_csv

    _put(
        "sidecar",
        "full.toml",
        'pixel = "9.8 nm x 10 nm"\nunit = "nm"\nspecimen = "film"\nspot = 2\nline_rate = "1 Hz"\n'
        'probe_radius = "8 nm"\ndirection = "trace"\nrole = "reference"\ndate = 2024-05-01\n'
        'notes = [1, "two"]\n[probe]\ntype = "tapping"\n',
    )
    _put("sidecar", "bare.toml", 'pixel = [1e-8, 2e-8]\nunit = "um"\ninstrument = "=1+1"\n')
    _put("treatment", "all.toml", TREATMENT)
    _put("treatment", "common.toml", 'schema = 1\n[[step]]\ndo = "band"\nshortest = "common"\nlongest = "common"\n')
    day = LogEntry(at="2024-05-01", kind="reading", subject="=mica", symbol="Sq", value=1e-10, unit="m", n=3)
    later = "2024-05-02T08:00:00+02:00"
    floor = LogEntry(at=later, kind="floor", subject="mica, cleaved", symbol="noise", value=4e-11, unit="m", low=1e-11)
    _put("log_csv", "two.csv", to_csv([day, floor]))
    Log(_place("log_file", "log.sqlite")).add([day])
    for number, claim in enumerate((
        "PV <= lambda/20 @ 632.8nm over 25mm x 20 mm, reflected wavefront, power removed", "Sq < 0.2 nm in 60nm..2um",
        "flatness ≤ 0.5 fringes at 546.1 nm", "Ra <= 2 Å cut-off 80 um", "ISO 1302 N5", "ISO 3650 grade 1 20 mm",
    )):  # fmt: skip
        _put("claim", f"{number}.txt", claim)


def bench(times: int = 1) -> Bench:
    """Two specimens, a mask, gaps, a claim and a refusal: what a bench file can hold."""
    z = np.tile(Z, (times, times)) * 1e-9
    gaps = z.copy()
    gaps[0, 0] = np.nan
    mask = np.zeros(z.shape, bool)
    mask[2, 2] = True
    source = Source("film.txt", "ab" * 32, "text", "height", ("height", "phase"), "nm")
    first = HeightMap(z, (1e-8, 1e-8), name="film", mask=mask, source=source, metadata={"line_rate": 1.0})
    second = HeightMap(gaps, (1e-8, 2e-8), name="glass")
    return Bench(
        title="Which?",
        scans=(Scan(first, "film", "spot 1"), Scan(second, "glass")),
        refused=(Refusal("b.txt", "no map in it", "Export again."),),
        claims=(Stated("Sq < 1 nm in 20nm..50nm", "film"),),
    )


def _documents() -> None:
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    from core.benchfile import save
    from core.compare import compare
    from core.sheet import csv_sheet, html_sheet, json_sheet, xlsx_sheet

    save(bench(), _place("bench", "bench.h5"))
    comparison = compare(bench(3))
    json_sheet.write(comparison, _place("carried", "sheet.json"))
    csv_sheet.write(comparison, _place("carried", "sheet.csv"))
    xlsx_sheet.write(comparison, _place("carried", "sheet.xlsx"))
    html_sheet.write(comparison, _place("carried", "sheet.html"))
    save(bench(), _place("carried", "bench.h5"), comparison)
    # Figures by hand, as small as they can be: only what they carry is read back.
    whole = json.loads((CORPUS / "carried" / "sheet.json").read_text(encoding="utf-8"))
    keep = ("schema", "program", "treatment", "rank_by", "standing")
    small = {key: whole[key] for key in keep} | {"scans": [
        {key: scan[key] for key in ("name", "specimen", "file", "sha256")} | {"readings": {"Sq": 1e-9, "Sz": None}}
        for scan in whole["scans"]
    ]}  # fmt: skip
    text = json.dumps(small)
    info = PngInfo()
    info.add_text("lowrelief", text, zip=True)
    Image.new("L", (2, 2)).save(_place("carried", "figure.png"), pnginfo=info)
    escaped = text.replace("&", "&amp;").replace("<", "&lt;")
    _put(
        "carried",
        "figure.svg",
        '<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><metadata><description '
        f'xmlns="http://purl.org/dc/elements/1.1/">{escaped}</description></metadata></svg>',
    )
    escaped = text.replace("\\", "\\\\").replace("(", "\\(").replace(")", "\\)")
    _put("carried", "figure.pdf", f"%PDF-1.4\n1 0 obj\n<< /Keywords ({escaped}) >>\nendobj\n%%EOF\n")


if __name__ == "__main__":
    main()
