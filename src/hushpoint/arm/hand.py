"""A hand on bulb and valve: whole logs as a learner's browser would make them, for renders, tests and the demo."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.cuff import HIGHEST_MMHG, Cuff, CuffState, logged_mmhg, squeeze, step, valve_for
from hushpoint.errors import BadInputError

Floats = NDArray[np.float64]

SQUEEZE_EVERY_S = 0.5
MOVES_EVERY_S = 0.5
"""How often the releasing hand looks at the needle and moves the valve (design choice)."""
LONGEST_S = 600.0
EMPTYING_S = 30.0
"""Time kept for opening fully before the longest log ends."""
EMPTY_MMHG = 0.5


@dataclass
class _Bench:
    """A cuff being handled: collects the samples and events of the log."""

    cuff: Cuff
    state: CuffState = field(default_factory=CuffState)
    valve: float = 0.0
    time_s: list[float] = field(default_factory=lambda: [0.0])
    pressure_mmhg: list[float] = field(default_factory=lambda: [0.0])
    events: list[dict[str, Any]] = field(default_factory=list)

    @property
    def now_s(self) -> float:
        return self.time_s[-1]

    @property
    def mmhg(self) -> float:
        return self.state.pressure_mmhg

    def go(self, seconds: float) -> None:
        for _ in range(max(1, round(seconds / self.cuff.step_s))):
            self.state = step(self.state, self.valve, self.cuff)
            self.time_s.append(round(len(self.time_s) * self.cuff.step_s, 4))
            self.pressure_mmhg.append(logged_mmhg(self.mmhg))

    def squeeze(self) -> None:
        self.events.append({"at_s": self.now_s, "do": "squeeze"})
        self.state = squeeze(self.state, self.cuff)

    def turn(self, to: float) -> None:
        to = round(to, 3)
        if to != self.valve:
            self.events.append({"at_s": self.now_s, "do": "valve", "to": to})
            self.valve = to

    def pump(self, peak_mmhg: float) -> None:
        self.turn(0.0)
        while self.mmhg < peak_mmhg and self.now_s < LONGEST_S:
            self.squeeze()
            self.go(SQUEEZE_EVERY_S)

    def open_fully(self) -> None:
        self.events.append({"at_s": self.now_s, "do": "open_fully"})
        self.valve = 1.0
        while self.mmhg > EMPTY_MMHG and self.now_s < LONGEST_S:
            self.go(MOVES_EVERY_S)


def held_release(
    cuff: Cuff,
    peak_mmhg: float,
    rate_mmhg_per_s: float,
    rng: np.random.Generator,
    *,
    wait_s: float = 1.0,
    hold_s: float = 1.0,
    unsteady: float = 0.0,
    open_at_mmhg: float = 40.0,
    stop_at_mmhg: float | None = None,
    stop_s: float = 4.0,
    pump_again_at_mmhg: float | None = None,
) -> tuple[Floats, Floats, list[dict[str, Any]]]:
    """Return (time_s, pressure_mmhg, events) of one whole measurement, as the log of the contract has them.

    Wait, squeeze twice a second up to the peak, hold, release by moving the valve twice a second (`unsteady` is the
    relative SD of the rate from one move to the next), open fully at `open_at_mmhg`. `stop_at_mmhg`: shut the
    valve there for `stop_s`. `pump_again_at_mmhg`: pump up to the peak again there, once. The same generator
    state gives the same log. Raises BadInputError outside 20-300 mmHg and 0.2-30 mmHg/s, or where the release would
    not end in 600 s.
    """
    if not 20 <= peak_mmhg <= HIGHEST_MMHG:
        raise BadInputError(f"peak {peak_mmhg:g} must be 20 to {HIGHEST_MMHG:g} mmHg")
    if not 0.2 <= rate_mmhg_per_s <= 30:
        raise BadInputError(f"release {rate_mmhg_per_s:g} must be 0.2 to 30 mmHg per second")
    bench = _Bench(cuff)
    bench.go(wait_s)
    bench.pump(peak_mmhg)
    bench.go(hold_s)
    while bench.mmhg > open_at_mmhg:
        if bench.now_s >= LONGEST_S - EMPTYING_S:
            raise BadInputError(
                f"a release at {rate_mmhg_per_s:g} mmHg per second from {peak_mmhg:g} mmHg takes longer than "
                f"{LONGEST_S:g} s: release faster"
            )
        if stop_at_mmhg is not None and bench.mmhg <= stop_at_mmhg:
            stop_at_mmhg = None
            bench.turn(0.0)
            bench.go(stop_s)
        if pump_again_at_mmhg is not None and bench.mmhg <= pump_again_at_mmhg:
            pump_again_at_mmhg = None
            bench.pump(peak_mmhg)
            bench.go(hold_s)
        rate = rate_mmhg_per_s * max(1 + unsteady * float(rng.standard_normal()), 0.1)
        sagging = sum(held / tau for held, (_, tau) in zip(bench.state.sag_mmhg, cuff.sag, strict=True))
        ahead_mmhg = max(bench.mmhg - 0.5 * rate * MOVES_EVERY_S, 1.0)
        bench.turn(valve_for(max(rate - sagging, 0.05), ahead_mmhg, cuff))
        bench.go(MOVES_EVERY_S)
    bench.open_fully()
    return np.array(bench.time_s), np.array(bench.pressure_mmhg), bench.events
