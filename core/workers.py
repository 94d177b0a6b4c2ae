"""How many workers a job may have.

Threads, not processes: the kernels of the pipeline (matrix products, sorting, copying) let go of the interpreter lock,
maps need not be copied between processes, and cancelling is a flag.
"""

from __future__ import annotations

import os


def worker_count(jobs: int | None) -> int:
    """`jobs`, or as many as this process may use cores.

    >>> worker_count(3)
    3
    """
    if jobs is not None:
        return max(1, jobs)
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # macOS, Windows
        return os.cpu_count() or 1
