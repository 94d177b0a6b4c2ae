"""What is fuzzed: everything that takes bytes from outside, each as a function of one file.

A target reads, looks at what it got as its caller would, and lets every error out. Only errors of the package may come.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from core.formats import read, sidecar
from core.heightmap import HeightMap

HERE = Path(__file__).parent
CORPUS = HERE / "corpus"

Reader = Callable[[Path], int]
"""Takes a file; gives the bytes of all arrays that came out."""


@dataclass(frozen=True, slots=True)
class Target:
    """One reader under attack.

    Attributes
    ----------
    name : str
        Also the folder of its valid files in the corpus.
    run : callable
        Reads one file.
    share : int
        How many of the cases of a campaign are its own, by weight: many where a case is quick or the reader intricate.
    """

    name: str
    run: Reader
    share: int

    def seeds(self) -> list[tuple[str, bytes]]:
        """Its valid files: suffix and bytes."""
        files = sorted((CORPUS / self.name).iterdir())
        return [("".join(file.suffixes[-1:]), file.read_bytes()) for file in files]


def _scan(path: Path) -> int:
    return _looked_at(read(path, pixel="1nm", unit="nm"))


def _looked_at(maps: list[HeightMap]) -> int:
    for scan in maps:
        dy, dx = scan.pitch
        if not (scan.z.ndim == 2 and 0 < dy < math.inf and 0 < dx < math.inf and not np.isinf(scan.z).any()):
            raise AssertionError(f"no height map came out: {scan!r}")
        scan.name.encode("utf-8", "surrogateescape")
    return sum(scan.z.nbytes for scan in maps)


def _alone(path: Path) -> int:
    """As it comes, with nothing said: the questions that are left must be asked, not guessed."""
    return _looked_at(read(path))


def _layout(path: Path) -> int:
    from core.formats.layouts.layout import load

    layout = load(path)
    layout.from_toml(layout.to_toml())
    return _looked_at(read(HERE / "laid_out.raw", pixel="1nm", unit="nm", layouts=[layout]))


def _laid_out(path: Path) -> int:
    from core.formats.layouts import guess
    from core.formats.layouts.layout import load

    layouts = [load(file) for file in sorted((CORPUS / "layout").iterdir())]
    found = guess(path)
    if found is not None:
        layouts.append(found.layout)
    return _looked_at(read(path, pixel="1nm", unit="nm", layouts=layouts))


def _sidecar(path: Path) -> int:
    beside = sidecar.beside(path.with_name("beside.npy"))
    path.replace(beside)
    np.save(beside.with_suffix(""), np.eye(4))
    return _alone(beside.with_suffix(""))


def _bench(path: Path) -> int:
    from core.benchfile import is_benchfile, load

    is_benchfile(path)
    bench = load(path)
    return sum(scan.raw.z.nbytes for scan in bench.scans)


def _carried(path: Path) -> int:
    from core.carried import carried_by

    carried_by(path)
    return 0


def _treatment(path: Path) -> int:
    from core.treatment import Treatment

    treatment = Treatment.from_toml(path.read_bytes().decode("utf-8", "replace"))
    treatment.describe()
    Treatment.from_toml(treatment.to_toml())
    rough = HeightMap(np.random.default_rng(1).normal(size=(48, 64)) * 1e-9, (1e-8, 1e-8))
    return treatment.resolve([rough]).apply(rough).z.nbytes


def _log_csv(path: Path) -> int:
    from core.log import from_csv, to_csv

    to_csv(from_csv(path.read_bytes().decode("utf-8", "replace")))
    return 0


def _log_file(path: Path) -> int:
    from core.log import Log

    log = Log(path)
    log.entries()
    log.series()
    return 0


def _claim(path: Path) -> int:
    from core.fitness.claims import parse

    str(parse(path.read_bytes().decode("utf-8", "replace")))
    return 0


TARGETS: dict[str, Target] = {
    target.name: target
    for target in (
        Target("text", _scan, 14),
        Target("points", _alone, 8),
        Target("asciigrid", _alone, 6),
        Target("sdf", _alone, 10),
        Target("x3p", _alone, 8),
        Target("numpy", _scan, 10),
        Target("tiff", _scan, 8),
        Target("hdf5", _scan, 8),
        Target("layout", _layout, 5),
        Target("laid_out", _laid_out, 2),
        Target("sidecar", _sidecar, 4),
        Target("bench", _bench, 4),
        Target("carried", _carried, 6),
        Target("treatment", _treatment, 3),
        Target("log_csv", _log_csv, 4),
        Target("log_file", _log_file, 1),
        Target("claim", _claim, 6),
    )
}


def case(target: Target, seeds: list[tuple[str, bytes]], seed: int, number: int) -> tuple[str, bytes]:
    """Suffix and bytes of one case: the same for ever for the same seed, number and corpus."""
    import random

    from tests.fuzz.mutate import mutated

    rng = random.Random(f"{seed}/{target.name}/{number}")
    suffix: str = rng.choice(seeds)[0]
    alike: list[Any] = [data for end, data in seeds if end == suffix]
    return suffix, mutated(rng, alike)
