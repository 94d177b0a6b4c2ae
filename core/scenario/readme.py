"""The page that lies beside the sample scans: what was planted in each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from core.scenario.carriers import Sample

HEAD = """# Sample scans: invented from beginning to end

**No such laboratory, instrument or measurement exists.** These scans were computed by lowrelief to show what it does
and to test it: what was planted is known.

The story: a small imaging laboratory looks for a carrier on which to count 30 nm plastic particles. It has six
candidates and scans three spots of each, 5 µm × 5 µm, 256 × 256 points (`carriers/`). Of three candidates it also takes
close-ups, 2 µm × 2 µm, 256 × 256 points (`close-ups/`): add them to the carriers and the program says that the sizes
do not match.

Every scan has a sidecar (`FILE.toml`) with specimen, spot, date, line rate and probe radius. All heights are multiples
of 2⁻³⁹ m = 1.82 pm, the step of the invented converter; text and grid are rounded to 0.01 nm, bare arrays to 1 pm.

## What was planted

Sq of the surface has its plane taken off. Noise, rows, hum and bow are what the instrument adds, RMS. Sq expected is
the root of the sum of their squares: what Sq should read after levelling by a plane, but for chance likeness of surface
and bow, which matters for the polymer film most.

| file | Sq surface | noise | rows | hum | bow | Sq expected (nm) | features |
|---|---|---|---|---|---|---|---|
"""

TAIL = """
## Made by

`python sample_data/make_samples.py` writes these files again; `lowrelief demo FOLDER` writes the same files elsewhere.
"""


def readme(samples: Sequence[tuple[Sample, Path]], root: Path) -> str:
    """The page as Markdown.

    Parameters
    ----------
    samples : sequence of (Sample, Path)
        With the files they were written to.
    root : Path
        The folder the page lies in.
    """
    return HEAD + "".join(_line(sample, path.relative_to(root).as_posix()) for sample, path in samples) + TAIL


def _line(sample: Sample, file: str) -> str:
    truth = sample.truth
    parts = [f"{1e9 * part:.3f}" for part in (truth.surface, truth.noise, truth.rows, truth.hum, truth.bow, truth.sq)]
    return f"| `{file}` | {' | '.join(parts)} | {_features(sample)} |\n"


def _features(sample: Sample) -> str:
    truth = sample.truth
    said = []
    if truth.terrace:
        said.append(f"steps of {1e9 * truth.steps[0]:.4f} nm, terraces {1e9 * truth.terrace:.0f} nm wide")
    elif truth.steps:
        heights = " and ".join(f"{1e9 * step:.4f} nm" for step in truth.steps)
        said.append(f"cleavage steps of {heights}" if len(truth.steps) > 1 else f"a cleavage step of {heights}")
    if truth.specks:
        tops = [1e9 * speck.height for speck in truth.specks]
        said.append(f"{len(tops)} specks, {min(tops):.1f} to {max(tops):.1f} nm high")
    if truth.hum_frequency:
        said.append(f"hum of {truth.hum_frequency:g} Hz")
    if truth.missing:
        said.append(f"{truth.missing} points missing")
    return ", ".join(said) or "none"
