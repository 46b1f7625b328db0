"""Cuff, bulb and valve as one lumped model, stepped the same way here and on the page (docs/bench-format.md)."""

from __future__ import annotations

import math
from dataclasses import dataclass

ATMOSPHERE_MMHG = 760.0
HIGHEST_MMHG = 300.0


@dataclass(frozen=True, slots=True)
class Cuff:
    """The constants of a cuff (facts 4: form DERIVED, values FROM MEMORY, tunable).

    `compliance_ml`: c0, c1 [mL of free air per mmHg], c2 [mmHg] in C = c0 + c1 exp(-P/c2). `squeeze_ml`: a, b, c in
    a - b (c + P)/760, the air of one squeeze [mL]. `tau_s`: emptying time constant with the valve shut and fully open.
    `sag`: (share of each rise, time constant [s]) of the fall after pumping, thermal and creep.
    """

    step_s: float = 0.025
    compliance_ml: tuple[float, float, float] = (1.8, 6.0, 12.0)
    squeeze_ml: tuple[float, float, float] = (70.0, 45.0, 760.0)
    tau_s: tuple[float, float] = (2250.0, 1.5)
    dead_band: float = 0.03
    hand_lag_s: float = 0.15
    sag: tuple[tuple[float, float], tuple[float, float]] = ((0.045, 1.5), (0.02, 10.0))


STANDARD_CUFF = Cuff()


@dataclass(frozen=True, slots=True)
class CuffState:
    """A cuff at one moment: pressure [mmHg], valve opening as it acts (0 shut to 1 open), air waiting in the bulb [mL],
    pressure still to sag [mmHg]."""

    pressure_mmhg: float = 0.0
    valve: float = 0.0
    bulb_ml: float = 0.0
    sag_mmhg: tuple[float, float] = (0.0, 0.0)


def squeeze(state: CuffState, cuff: Cuff = STANDARD_CUFF) -> CuffState:
    """Return the state after one squeeze of the bulb: its air waits and flows in over the hand's lag."""
    full, share, ambient = cuff.squeeze_ml
    air = max(0.0, full - share * (ambient + state.pressure_mmhg) / ATMOSPHERE_MMHG)
    return CuffState(state.pressure_mmhg, state.valve, state.bulb_ml + air, state.sag_mmhg)


def step(state: CuffState, hand: float, cuff: Cuff = STANDARD_CUFF) -> CuffState:
    """Return the state one `step_s` later with the valve asked for at `hand` (0 shut to 1 open)."""
    d, p = cuff.step_s, state.pressure_mmhg
    follow = 1 - math.exp(-d / cuff.hand_lag_s)
    valve = state.valve + (hand - state.valve) * follow
    out = state.bulb_ml * follow
    c0, c1, c2 = cuff.compliance_ml
    rise = out / (c0 + c1 * math.exp(-p / c2))
    shut, wide = cuff.tau_s
    opening = 0.0 if valve < cuff.dead_band else valve
    tau = shut * (wide / shut) ** opening
    p += rise
    sag, sunk = [], 0.0
    for held, (share, tau_sag) in zip(state.sag_mmhg, cuff.sag, strict=True):
        waiting = held + share * rise
        falls = waiting * (1 - math.exp(-d / tau_sag))
        sag.append(waiting - falls)
        sunk += falls
    p = max(0.0, p * math.exp(-d / tau) - sunk)
    return CuffState(min(p, HIGHEST_MMHG), valve, state.bulb_ml - out, (sag[0], sag[1]))


def logged_mmhg(pressure_mmhg: float) -> float:
    """Return a pressure as the log holds it: to 0.01 mmHg, half up.

    The cuff itself is never rounded: a shut valve leaks less than that in one step.
    """
    return math.floor(pressure_mmhg * 100 + 0.5) / 100


def valve_for(rate_mmhg_per_s: float, pressure_mmhg: float, cuff: Cuff = STANDARD_CUFF) -> float:
    """Return the valve opening that lets the cuff fall at a rate from a pressure, sag left out (0 to 1)."""
    shut, wide = cuff.tau_s
    if rate_mmhg_per_s <= 0 or pressure_mmhg <= 0:
        return 0.0
    opening = math.log(pressure_mmhg / rate_mmhg_per_s / shut) / math.log(wide / shut)
    return min(max(opening, 0.0), 1.0)
