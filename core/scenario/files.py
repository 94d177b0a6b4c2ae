"""The sample scans as files, in eight open formats, each with its sidecar: what `lowrelief demo` writes."""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from core.atomic import atomic
from core.errors import FileProblem
from core.formats import write
from core.formats.sidecar import beside
from core.heightmap import HeightMap
from core.progress import Progress, Report, silent
from core.scenario.carriers import CONVERTER_STEP, INVENTED, SEED, Sample, carriers, close_ups
from core.scenario.readme import readme

SUFFIXES = {
    "annealed sapphire": (".x3p", ".x3p", ".x3p"),
    "cleaved graphite": (".h5", ".h5", ".h5"),
    "stripped gold": (".tif", ".tif", ".tif"),
    "cover glass": (".npy", ".npy", ".npy"),
    "polymer film": (".txt", ".csv", ".asc"),
    "lapped steel": (".sdf", ".sdf", ".sdf"),
}
"""In which format the spots of each carrier are written."""

CLOSE_UP_SUFFIXES = {"annealed sapphire": ".npz", "stripped gold": ".tif", "cover glass": ".x3p"}


def write_demo(folder: str | Path, report: Report = silent, *, rng_seed: int = SEED) -> list[Path]:
    """Write the sample scans with their sidecars and a table of what was planted.

    Parameters
    ----------
    folder : path
        Made if it is not there. It gets ``carriers/`` with 18 scans, ``close-ups/`` with 5, and ``README.md``. Files of
        these names are replaced, others are left alone.
    report : callable, optional
        Told of every finished scan.
    rng_seed : int, optional
        Another seed gives other surfaces of the same kind.

    Returns
    -------
    list of pathlib.Path
        The scan files in bench order, and the README last.

    Raises
    ------
    FileProblem
        If the folder cannot be made or written to.
    """
    root = Path(folder)
    wide, close = carriers(rng_seed), close_ups(rng_seed)
    places = [root / "carriers" / _file_name(sample, SUFFIXES[sample.specimen]) for sample in wide]
    places += [root / "close-ups" / f"{s.scan.name}{CLOSE_UP_SUFFIXES[s.specimen]}" for s in close]
    samples = [*wide, *close]
    try:
        for number, (sample, place) in enumerate(zip(samples, places, strict=True), start=1):
            place.parent.mkdir(parents=True, exist_ok=True)
            write_sample(sample, place)
            report(Progress(number, len(samples), sample.scan.name))
        told = root / "README.md"
        with atomic(told) as temporary:
            temporary.write_text(readme(list(zip(samples, places, strict=True)), root), encoding="utf-8", newline="\n")
    except OSError as error:
        raise FileProblem(
            f"The samples cannot be written: {error.strerror or error}", where=str(root), fix="Choose another folder."
        ) from error
    return [*places, told]


def write_sample(sample: Sample, path: Path) -> None:
    """Write one scan in the format that the suffix names, and its sidecar."""
    own = _OWN.get(path.suffix)
    if own is None:
        write(sample.scan, path)
    else:
        with atomic(path) as temporary:
            own(sample.scan, temporary)
    lines = [f"# {INVENTED}", *(f"{key} = {json.dumps(value)}" for key, value in _said(sample, path.suffix).items())]
    with atomic(beside(path)) as temporary:
        temporary.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _file_name(sample: Sample, suffixes: Sequence[str]) -> str:
    spot = int(sample.spot.split()[-1])
    return f"{sample.scan.name}{suffixes[spot - 1]}"


def _said(sample: Sample, suffix: str) -> dict[str, str]:
    """What the sidecar says, as a person would write it; pixel and unit only where the format has no room for them."""
    said = {}
    if suffix == ".npy":
        said = {"pixel": _nanometres(sample.scan.pitch[1]), "unit": "pm"}
    told = sample.scan.metadata
    return said | {
        "specimen": sample.specimen,
        "spot": sample.spot,
        "instrument": str(told["instrument"]),
        "date": str(told["date"]),
        "direction": str(told["direction"]),
        "line_rate": f"{told['line_rate']} Hz",
        "probe_radius": _nanometres(float(told["probe_radius"])),
        "note": INVENTED,
    }


def _nanometres(metres: float) -> str:
    return f"{metres * 1e9:.9g} nm"


def _array(scan: HeightMap, path: Path) -> None:
    """Whole picometres, 16 bit: an array alone says neither pixel nor unit, the sidecar does."""
    counts = np.rint(scan.z * 1e12).astype("<i2")
    with path.open("wb") as file:
        np.lib.format.write_array(file, counts, allow_pickle=False)


def _table(delimiter: str) -> Callable[[HeightMap, Path], None]:
    """A matrix in nanometres under a short header, as a laboratory exports it."""

    def own(scan: HeightMap, path: Path) -> None:
        head = ["pixel: " + _nanometres(scan.pitch[1]), "unit: nm", INVENTED]
        lines = [f"# {line}" for line in head]
        lines += [delimiter.join(f"{height:.2f}" for height in row) for row in (scan.z * 1e9).tolist()]
        path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")

    return own


def _grid(scan: HeightMap, path: Path) -> None:
    """ASCII grid in metres, missing points by their number."""
    rows, columns = scan.shape
    lines = [
        f"ncols {columns}",
        f"nrows {rows}",
        "xllcorner 0",
        "yllcorner 0",
        f"cellsize {scan.pitch[1]!r}",
        "NODATA_value -9999",
    ]
    heights = np.round(scan.z * 1e9, 2).tolist()
    lines += [" ".join("-9999" if math.isnan(z) else f"{z:g}e-9" for z in row) for row in heights]
    path.write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")


def _surface_data(scan: HeightMap, path: Path) -> None:
    """Binary surface data file, ISO 25178-71: 16-bit counts of the converter's step."""
    rows, columns = scan.shape
    dates = (str(scan.metadata["date"]).replace("-", "") + "0000").encode()
    header = struct.pack(
        "<8s10s12s12sHHddddbbb", b"bISO-1.0", b"invented", dates, dates, columns, rows,
        scan.pitch[1], scan.pitch[0], CONVERTER_STEP, CONVERTER_STEP, 0, 5, 0,
    )  # fmt: skip
    counts = np.rint(scan.z / CONVERTER_STEP).astype("<i2")
    path.write_bytes(header + counts.tobytes())


def _picture(scan: HeightMap, path: Path) -> None:
    """Single-precision TIFF in nanometres, pixel size and unit in its description."""
    import tifffile

    tifffile.imwrite(
        path,
        (scan.z * 1e9).astype(np.float32),
        metadata={"dy": scan.pitch[0], "dx": scan.pitch[1], "unit": "nm", "note": INVENTED},
    )


_OWN: dict[str, Callable[[HeightMap, Path], None]] = {
    ".npy": _array,
    ".txt": _table("\t"),
    ".csv": _table(","),
    ".asc": _grid,
    ".sdf": _surface_data,
    ".tif": _picture,
}
"""Formats that are written here: `core.formats` keeps every bit or only reads them, a laboratory writes what it has."""
