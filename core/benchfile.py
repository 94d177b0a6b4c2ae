"""The bench as a file: HDF5 whose scans any NeXus reader finds, and that gives the bench back exactly.

Every scan is an ``NXdata`` group with its heights as recorded, float64, packed without loss, and their coordinates.
What only this program knows (specimens, treatment, scale, refusals, metadata) stands beside it as JSON and TOML text.
Types carry our own names and an integer schema; nothing in the file is ever executed. A treated map is not stored: it
follows from the heights and the treatment.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from core.atomic import atomic
from core.bench import Bench, Refusal, Scan, Stated
from core.errors import BenchError, DamagedFile, FileProblem, LowreliefError
from core.fitness.claims.decision import RULES
from core.formats.guard import FREE_BYTES, MOST_EXPANSION, MOST_POINTS, breakage
from core.formats.hdf5_heap import attribute_leads_to_text, opened, text_of
from core.heightmap import Entry, HeightMap, Source
from core.results import Comparison
from core.scale import PRESETS, Scale
from core.shapes import Shape
from core.sheet.record import PROGRAM, record
from core.sheet.words import clean
from core.tagged import dumps, loads
from core.treatment import Treatment
from core.version import VERSION

SCHEMA = 1
TYPE = "lowrelief_type"
SIGNATURE = b"\x89HDF\r\n\x1a\n"
MOST_SCANS = 100_000


def is_benchfile(path: str | Path) -> bool:
    """Whether a file is a bench file, by its content. Never raises.

    Examples
    --------
    >>> is_benchfile("no such file")
    False
    """
    try:
        with Path(path).open("rb") as raw:
            if raw.read(len(SIGNATURE)) != SIGNATURE:
                return False
        with opened(Path(path)) as file:
            return _type(file) == "bench"
    except (OSError, ValueError, RuntimeError, KeyError):  # DamagedFile is a ValueError
        return False


def save(bench: Bench, path: str | Path, comparison: Comparison | None = None) -> None:
    """Write a bench, whole or not at all.

    Parameters
    ----------
    bench : Bench
        With all its scans, as recorded.
    path : str or Path
        Usually ending in ``.h5``.
    comparison : Comparison, optional
        Its record (readings, doubts, standing) goes along for readers without this program; `load` passes it over.

    Raises
    ------
    FileProblem
        If the file cannot be written.
    """
    import h5py

    with atomic(path) as temporary, h5py.File(temporary, "w", locking=False) as file:
        file.attrs.update(
            {"NX_class": "NXroot", "default": "entry", TYPE: "bench", "schema": SCHEMA, "program": PROGRAM}
        )
        file.attrs["version"] = VERSION
        entry = _group(file, "entry", "NXentry")
        entry["title"] = clean(bench.title)
        entry["bench"] = dumps(_bench(bench))
        entry["treatment"] = bench.treatment.to_toml()
        if comparison is not None:
            entry["comparison"] = json.dumps(record(comparison), allow_nan=False)
        for number, scan in enumerate(bench.scans, start=1):
            name = f"scan_{number:04d}"
            if number == 1:
                entry.attrs["default"] = name
            _write_scan(_group(entry, name, "NXdata"), scan)


def load(path: str | Path) -> Bench:
    """The bench that a file holds, with every height, mask, name and setting as it was saved.

    Raises
    ------
    FileProblem
        If the file is not there.
    BenchError
        If it is no bench file, is damaged, or comes from a newer version of the program.
    """
    import h5py

    path = Path(path)
    if not path.is_file():
        raise FileProblem("The bench file is not there", where=str(path), fix="Check its name.")
    with _damage(path), breakage(path, "a bench file"), opened(path) as file:
        if _type(file) != "bench":
            raise BenchError("This is no bench file", where=str(path), fix="Open it as a scan.")
        schema = int(file.attrs["schema"])
        if schema > SCHEMA:
            raise BenchError(
                f"The bench file has schema {schema}, this program reads up to {SCHEMA}",
                where=str(path),
                fix="Open it with a newer version of Lowrelief.",
            )
        return _read_bench(_member(file, "entry", h5py.Group))


def _bench(bench: Bench) -> dict[str, Any]:
    scale = bench.scale
    return {
        TYPE: "settings",
        "title": bench.title,
        "rank_by": bench.rank_by,
        "scale": {"shared": scale.shared, "preset": scale.preset, "low": scale.low, "high": scale.high},
        "refused": [{"file": one.file, "reason": one.reason, "fix": one.fix} for one in bench.refused],
        "scans": len(bench.scans),
        "claims": [{"text": one.text, "specimen": one.specimen} for one in bench.claims],
        "claim_rule": bench.claim_rule,
        "repeats": [list(group) for group in bench.repeats],
    }


def _write_scan(group: Any, scan: Scan) -> None:
    raw = scan.raw
    group.attrs.update({"signal": "height", "axes": ["y", "x"], TYPE: "scan"})
    # gzip and not a faster method: every HDF5 reader has it.
    data = group.create_dataset("height", data=raw.z, shuffle=True, compression="gzip", compression_opts=1)
    data.attrs.update({"units": "m", "long_name": clean(scan.name), "pitch": raw.pitch})
    for axis, count, step in zip("yx", raw.shape, raw.pitch, strict=True):
        group[axis] = np.arange(count) * step
        group[axis].attrs["units"] = "m"
    for name, mask in (("mask", raw.mask), ("own_mask", scan.own_mask)):
        if mask is not None:
            group.create_dataset(name, data=mask, shuffle=True, compression="gzip", compression_opts=1)
    group["scan"] = dumps(
        {
            TYPE: "scan",
            "name": scan.name,
            "specimen": scan.specimen,
            "spot": scan.spot,
            "shapes": [shape.to_plain() for shape in scan.shapes],
            "said": dict(scan.said),
            "pitch": list(raw.pitch),
            "source": {
                "file": raw.source.file,
                "sha256": raw.source.sha256,
                "format": raw.source.format,
                "channel": raw.source.channel,
                "channels": list(raw.source.channels),
                "unit": raw.source.unit,
            },
            "metadata": dict(raw.metadata),
            "history": [
                {"step": dict(entry.step), "removed": entry.removed, "figures": dict(entry.figures)}
                for entry in raw.history
            ],
        }
    )


def _read_bench(entry: Any) -> Bench:
    told = loads(_string(entry, "bench"))
    count = int(told["scans"])
    if not 0 <= count <= MOST_SCANS:
        raise ValueError(f"it declares {count} scans")
    groups = [_member(entry, f"scan_{number:04d}", _kinds().Group) for number in range(1, count + 1)]
    _check_sizes(groups)
    scale = told["scale"]
    if scale["preset"] not in PRESETS:
        raise ValueError("it has an unknown height range")
    scans = tuple(_read_scan(group) for group in groups)
    if len({scan.name for scan in scans}) != len(scans):
        raise ValueError("two scans have one name")
    return Bench(
        title=str(told["title"]),
        scans=scans,
        refused=tuple(Refusal(str(one["file"]), str(one["reason"]), str(one["fix"])) for one in told["refused"]),
        treatment=Treatment.from_toml(_string(entry, "treatment")),
        rank_by=str(told["rank_by"]),
        scale=Scale(bool(scale["shared"]), scale["preset"], float(scale["low"]), float(scale["high"])),
        # files of before there were claims have none
        claims=tuple(Stated(str(one["text"]), str(one["specimen"])) for one in told.get("claims", [])),
        claim_rule=_one_of(str(told.get("claim_rule", RULES[0])), RULES),
        repeats=tuple(tuple(map(str, group)) for group in told.get("repeats", [])),
    )


def _one_of(word: str, known: tuple[str, ...]) -> str:
    if word not in known:
        raise ValueError(f"it has an unknown word “{word}”")
    return word


def _read_scan(group: Any) -> Scan:
    told = loads(_string(group, "scan"))
    source = told["source"]
    raw = HeightMap(
        _member(group, "height", _kinds().Dataset)[()],
        pitch=(told["pitch"][0], told["pitch"][1]),
        name=str(told["name"]),
        mask=_mask(group, "mask"),
        source=Source(
            str(source["file"]),
            str(source["sha256"]),
            str(source["format"]),
            str(source["channel"]),
            tuple(map(str, source["channels"])),
            str(source.get("unit", "")),
        ),
        metadata=dict(told["metadata"]),
        history=tuple(Entry(one["step"], str(one["removed"]), one["figures"]) for one in told["history"]),
    )
    shapes = tuple(Shape.from_plain(one) for one in told.get("shapes", []))  # older files have none
    own = _mask(group, "own_mask") if shapes else None
    if own is not None and own.shape != raw.shape:
        raise ValueError("a mask has another shape than its map")
    said = {str(key): str(value) for key, value in told.get("said", {}).items()}
    return Scan(raw, str(told["specimen"]), str(told["spot"]), shapes, own, said)


def _mask(group: Any, name: str) -> Any:
    return _member(group, name, _kinds().Dataset)[()] if name in group else None


def _check_sizes(groups: list[Any]) -> None:
    """Refuse a file that promises more heights than its bytes can hold, before memory is taken."""
    wanted = stored = 0
    for group in groups:
        for name, kind in (("height", "f"), ("mask", "b"), ("own_mask", "b")):
            if name != "height" and name not in group:
                continue
            data = _member(group, name, _kinds().Dataset)
            if data.is_virtual or data.external:
                raise ValueError("its heights are in another file")
            if data.shape is None or len(data.shape) != 2 or data.dtype.kind != kind or data.dtype.itemsize > 8:
                raise ValueError(f"{data.name} is no map")
            points = data.shape[0] * data.shape[1]
            if points > MOST_POINTS:
                raise ValueError(f"{data.name} declares {points} points")
            wanted += points * data.dtype.itemsize
            stored += data.id.get_storage_size()
    if wanted > FREE_BYTES and wanted > MOST_EXPANSION * stored:
        raise ValueError(f"it promises {wanted} bytes of heights and stores {stored}")


@contextmanager
def _damage(path: Path) -> Iterator[None]:
    """Whatever is wrong inside the file makes it a bench file that cannot be reopened."""
    try:
        yield
    except (BenchError, FileProblem):
        raise
    except LowreliefError as error:
        fix = "Take a copy, or compare the raw files again." if isinstance(error, DamagedFile) else error.fix
        raise BenchError(f"The bench file cannot be reopened: {error.what}", where=str(path), fix=fix) from error


def _member(group: Any, name: str, kind: type) -> Any:
    """What stands under a name inside this very file; a link that leads out of it is damage."""
    if not isinstance(group.get(name, getlink=True), _kinds().HardLink):
        raise ValueError(f"“{name}” is not there")  # noqa: TRY004  damage, not a wrong call
    item = group[name]
    if not isinstance(item, kind):
        raise ValueError(f"“{name}” is of another kind")  # noqa: TRY004
    return item


def _string(group: Any, name: str) -> str:
    return text_of(_member(group, name, _kinds().Dataset))


def _type(file: Any) -> str:
    """Which of our files it is; empty for one of another hand."""
    return _text(file.attrs[TYPE]) if TYPE in file.attrs and attribute_leads_to_text(file, TYPE, 1) else ""


def _text(value: Any) -> str:
    return value.decode("utf-8") if isinstance(value, bytes) else str(value)


def _group(parent: Any, name: str, kind: str) -> Any:
    group = parent.create_group(name)
    group.attrs["NX_class"] = kind
    return group


def _kinds() -> Any:
    import h5py

    return h5py
