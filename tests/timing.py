"""How long an act takes, for tests that print ratios."""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median


def median_s(act: Callable[[], object], times: int = 7) -> float:
    """Return the median wall time of an act [s], after one warm-up."""
    act()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        taken.append(time.perf_counter() - start)
    return median(taken)
