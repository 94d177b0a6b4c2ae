"""A campaign of damaged files against every reader: ``python -m tests.fuzz.campaign --cases 100000 --seed 1``.

Prints, reader by reader, how many cases were read and refused, the slowest, the hungriest, and the finds. A find is
told with the very command that shows it again. FIGURES.md keeps what the large campaigns showed.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.fuzz.targets import TARGETS, case
from tests.fuzz.watch import Figures, watched

STRETCH = 5000
"""Cases of one child."""


def campaign(cases: int, seed: int, *, only: tuple[str, ...] = (), jobs: int = 1) -> dict[str, Figures]:
    """Run about `cases` cases, shared out over the targets by their weights.

    Returns
    -------
    dict of str to Figures
        By target.
    """
    targets = [TARGETS[name] for name in only or TARGETS]
    weight = sum(target.share for target in targets)
    figures = {target.name: Figures() for target in targets}
    stretches = [
        (target.name, first, min(STRETCH, wanted - first))
        for target in targets
        for wanted in [max(1, round(cases * target.share / weight))]
        for first in range(0, wanted, STRETCH)
    ]
    with ThreadPoolExecutor(jobs) as pool:
        shown = pool.map(lambda stretch: (stretch[0], watched(*stretch, seed)), stretches)
        for name, part in shown:
            figures[name].add(part)
    return figures


def table(figures: dict[str, Figures]) -> str:
    """The figures as lines of a Markdown table."""
    lines = [
        "| reader | cases | read | refused | slowest, s | memory, MiB | time, s | finds |",
        "|---|---|---|---|---|---|---|---|",
    ]
    whole = Figures()
    for name, one in figures.items():
        lines.append(_line(name, one))
        whole.add(one)
    return "\n".join([*lines, _line("**all**", whole)])


def _line(name: str, one: Figures) -> str:
    return (
        f"| {name} | {one.cases} | {one.read} | {one.refused} | {one.slowest:.2f} | {one.largest / 2**20:.1f} "
        f"| {one.seconds:.0f} | {len(one.finds)} |"
    )


def main(arguments: list[str] | None = None) -> int:
    """Run a campaign, or show one case again; exit status 1 if there were finds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="readers, parted by commas")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--case", type=int, help="write this case of the one reader named into a file and end")
    asked = parser.parse_args(arguments)
    only = tuple(filter(None, asked.only.split(",")))
    if asked.case is not None:
        suffix, data = case(TARGETS[only[0]], TARGETS[only[0]].seeds(), asked.seed, asked.case)
        file = Path(f"case-{only[0]}-{asked.seed}-{asked.case}{suffix}")
        file.write_bytes(data)
        print(file)  # noqa: T201
        return 0
    figures = campaign(asked.cases, asked.seed, only=only, jobs=asked.jobs)
    print(table(figures))  # noqa: T201
    finds = [find for one in figures.values() for find in one.finds]
    for find in finds:
        again = f"python -m tests.fuzz.campaign --only {find.target} --seed {asked.seed} --case {find.number}"
        print(f"\n{find.kind} in {find.target}: {again}\n{find.told}")  # noqa: T201
    return 1 if finds else 0


if __name__ == "__main__":
    sys.exit(main())
