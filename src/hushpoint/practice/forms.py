"""Sealed parallel forms of a listening paper: other measurements every time, as hard every time.

Equal by construction: a form takes one value from every stratum of systolic pressure, pulse pressure, pulse rate,
release rate and loudness, and the same number of silent gaps, irregular pulses, faint arms and long muffled ends. Which
values meet on one arm is drawn by lot, and drawn again until the form's difficulty lies within TOLERANCE_MMHG of what
the strata give on average. Within a series no measurement comes twice: every form takes another systolic pressure from
each stratum. Everything comes from the series' seed and the form's number, so that a form is made again from them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm import Person
from hushpoint.arm.person import PHASE_WIDTHS
from hushpoint.errors import BadInputError
from hushpoint.practice.cases import FAINT_DB, GAP_SHARE_OF_PULSE, LONG_MUFFLED_WIDTHS

Floats = NDArray[np.float64]
Trait = Literal["high", "low", "faint", "gap", "irregular", "fast", "muffled"]

SIZE = 12
"""Measurements on a form: 24 answers, as the published test has (NHANES 2003-2014; SEEN)."""
SIZES = (6, 24)
LAST_NUMBER = 30
"""The highest number of a form in a series: so many differing values every stratum holds at least."""
SYSTOLIC_SHARES = (0.0, 0.25, 0.6, 0.85, 1.0)
SYSTOLIC_MMHG = (90.0, 112.0, 142.0, 176.0, 210.0)
"""Systolic over a form: a quarter below 112, four in ten above 142 (design choice: error doubles when high, and a class
alone never shows a high one)."""
SYSTOLIC_STEP_MMHG = 0.1
PULSE_SHARE = (0.30, 0.46)
"""Pulse pressure as a share of systolic (design choice: 120/79 to 120/65, 200/140 to 200/108)."""
PULSE_PER_MIN = (54.0, 102.0)
FAST_PER_MIN = 90.0
RELEASE_MMHG_PER_S = (2.0, 3.0)
"""What teaching policies ask (facts 2.4; SEEN)."""
LOUD_DB = (38.0, 50.0)
"""Phase III of an arm that is not faint, over the hearing floor [dB] (FROM MEMORY)."""
NARROWEST_PULSE_MMHG = 30.0
OLDER, ANY_AGE = (50, 79), (19, 75)
"""Ages [years] of those with a gap, an irregular pulse or a long muffled end, and of the others (design choice)."""
HIGH_MMHG, LOW_MMHG = 140.0, 104.0
GAP_FROM_MMHG = 150.0
"""A silent gap is put on arms at or above this: gaps go with high pressure (Cavallini 1996; SEEN)."""
GAP_BELOW_SYSTOLIC_MMHG = (16.0, 22.0)
"""A gap begins this far below systolic: the sounds above it are then heard in every release (design choice)."""
IRREGULAR_TO_PER_MIN = 96.0
ONE_IN = {"gap": 6, "irregular": 6, "faint": 6, "muffled": 12}
"""Of so many measurements one has the trait (design choice)."""
TOLERANCE_MMHG = 0.05
"""A form's difficulty lies within this of what the strata give on average (design choice)."""
MOST_DRAWS = 400
AVERAGE_DRAWS = 400

BASE_MMHG, HIGH_TIMES = 3.6, 8.4 / 3.6
"""Learners' error on normal arms, and how many times that on high ones: 3.6 and 8.4 mmHg, 116 students (job facts R10;
SEEN). From 120 to 160 mmHg it is taken to grow evenly (design choice)."""
TIMES: dict[Trait, float] = {"faint": 1.5, "gap": 1.6, "irregular": 1.6, "muffled": 1.4, "fast": 1.15}
"""How many times the error a trait makes of it (design choice, no source gives it: it compares forms and foretells
nobody's reading)."""
TIMES_PER_RATE = 0.25
"""1 mmHg/s of release above 2 adds this share of the error (design choice)."""


@dataclass(frozen=True, slots=True)
class FormItem:
    """One measurement of a form: whom to render, how fast, from which seed, and what makes it hard.

    `arm.render_measurement(person, release_mmhg_per_s=…, seed=…)` gives sound, needle and truth.
    """

    place: int
    person: Person
    release_mmhg_per_s: float
    seed: int
    traits: tuple[Trait, ...]

    @property
    def difficulty_mmhg(self) -> float:
        """The error to be expected of a beginner [mmHg]: compares forms, foretells nobody's reading."""
        return difficulty_mmhg(self.person, self.release_mmhg_per_s, self.traits)


@dataclass(frozen=True, slots=True)
class Form:
    """A form of a series; the items stand in the order in which they are heard."""

    series_seed: int
    number: int
    items: tuple[FormItem, ...]

    @property
    def difficulty_mmhg(self) -> float:
        """The mean of the items' difficulty [mmHg]."""
        return sum(item.difficulty_mmhg for item in self.items) / len(self.items)

    def to_json(self) -> dict[str, Any]:
        """Return what makes the form again: never the arms."""
        return {"series_seed": self.series_seed, "number": self.number, "size": len(self.items)}


def difficulty_mmhg(person: Person, release_mmhg_per_s: float, traits: tuple[Trait, ...]) -> float:
    """Return the error to be expected of a beginner on such a measurement [mmHg]; the shares are in the constants."""
    times = math.prod(TIMES.get(trait, 1.0) for trait in traits)
    return float(_difficulty_mmhg(np.array([person.systolic_mmhg]), np.array([release_mmhg_per_s]), times)[0])


def form(series_seed: int, number: int, size: int = SIZE) -> Form:
    """Return form `number` (1 to 30) of a series: the same three give the same form.

    `size`: measurements, 6 to 24. Raises BadInputError outside the legal ranges.
    """
    low, high = SIZES
    if series_seed < 0 or not 1 <= number <= LAST_NUMBER or not low <= size <= high:
        raise BadInputError(
            f"form {number} of series {series_seed}, {size} measurements: the number must be 1 to {LAST_NUMBER}, the "
            f"seed 0 or more, the measurements {low} to {high}"
        )
    rng = np.random.default_rng([series_seed, number, size])
    systolic = _systolic(series_seed, number, size)
    wanted = usual_difficulty_mmhg(size)
    best = _Draw.by_lot(systolic, rng)
    for _ in range(MOST_DRAWS):
        if abs(best.difficulty_mmhg - wanted) <= TOLERANCE_MMHG:
            break
        best = min(best, _Draw.by_lot(systolic, rng), key=lambda one: abs(one.difficulty_mmhg - wanted))
    seeds = rng.integers(1, 2**31 - 1, size)
    order = enumerate(zip(rng.permutation(size), seeds, strict=True), start=1)
    return Form(
        series_seed, number, tuple(best.item(int(which), place, int(seed), rng) for place, (which, seed) in order)
    )


@cache
def usual_difficulty_mmhg(size: int) -> float:
    """Return the difficulty that the strata give on average [mmHg], over draws of a fixed seed."""
    rng = np.random.default_rng([20, size])
    return float(np.mean([_Draw.by_lot(_systolic(one, 1, size), rng).difficulty_mmhg for one in range(AVERAGE_DRAWS)]))


def _counts(size: int) -> dict[Trait, int]:
    return {
        "gap": max(1, size // ONE_IN["gap"]),
        "irregular": max(1, size // ONE_IN["irregular"]),
        "faint": max(1, size // ONE_IN["faint"]),
        "muffled": max(1, size // ONE_IN["muffled"]),
    }


def _edges(size: int) -> Floats:
    edges: Floats = np.interp(np.linspace(0, 1, size + 1), SYSTOLIC_SHARES, SYSTOLIC_MMHG)
    return edges


def _systolic(series_seed: int, number: int, size: int) -> Floats:
    """Return one systolic from every stratum [mmHg]: in each, form n takes the n-th value of an order of its own."""
    edges = _edges(size)
    order = np.random.default_rng([series_seed, size])
    values = []
    for low, high in itertools.pairwise(edges):
        inside = np.arange(np.ceil(low / SYSTOLIC_STEP_MMHG), np.ceil(high / SYSTOLIC_STEP_MMHG)) * SYSTOLIC_STEP_MMHG
        values.append(order.permutation(inside)[number - 1])
    return np.round(np.array(values), 1)


def _spread(low: float, high: float, size: int, rng: np.random.Generator) -> Floats:
    """Return one value from each of `size` equal parts of a range, in an order by lot."""
    values: Floats = low + (high - low) * (np.arange(size) + rng.random(size)) / size
    return rng.permutation(values)


def _difficulty_mmhg(systolic_mmhg: Floats, release_mmhg_per_s: Floats, times: Floats | float) -> Floats:
    high = np.clip((systolic_mmhg - 120.0) / 40.0, 0.0, 1.0)
    fast_release = 1 + TIMES_PER_RATE * (release_mmhg_per_s - 2.0)
    error: Floats = BASE_MMHG * (1 + (HIGH_TIMES - 1) * high) * times * fast_release
    return error


@dataclass(frozen=True)
class _Draw:
    """Which values meet on which arm; arrays of one length, the form's size. `traits`: what an arm has been given."""

    systolic_mmhg: Floats
    pulse_share: Floats
    pulse_per_min: Floats
    release_mmhg_per_s: Floats
    loudness_db: Floats
    traits: Mapping[int, Trait]

    @classmethod
    def by_lot(cls, systolic_mmhg: Floats, rng: np.random.Generator) -> _Draw:
        size, counts = len(systolic_mmhg), _counts(len(systolic_mmhg))
        pulse = np.round(_spread(*PULSE_PER_MIN, size, rng))
        fits: dict[Trait, NDArray[np.bool_]] = {
            "gap": systolic_mmhg >= GAP_FROM_MMHG,
            "irregular": pulse <= IRREGULAR_TO_PER_MIN,
        }
        free = np.ones(size, dtype=bool)
        traits: dict[int, Trait] = {}
        for trait, count in counts.items():
            fit = np.flatnonzero(free & fits.get(trait, free))
            for one in rng.permutation(fit)[:count]:
                traits[int(one)] = trait
                free[one] = False
        loud = _spread(*LOUD_DB, size, rng)
        faint = [which for which, trait in traits.items() if trait == "faint"]
        loud[faint] = _spread(*FAINT_DB, len(faint), rng)
        return cls(
            systolic_mmhg,
            _spread(*PULSE_SHARE, size, rng),
            pulse,
            np.round(_spread(*RELEASE_MMHG_PER_S, size, rng), 2),
            np.round(loud, 1),
            traits,
        )

    @property
    def difficulty_mmhg(self) -> float:
        times = np.where(self.pulse_per_min >= FAST_PER_MIN, TIMES["fast"], 1.0)
        for which, trait in self.traits.items():
            times[which] *= TIMES[trait]
        return float(_difficulty_mmhg(self.systolic_mmhg, self.release_mmhg_per_s, times).mean())

    def item(self, which: int, place: int, seed: int, rng: np.random.Generator) -> FormItem:
        systolic, trait = float(self.systolic_mmhg[which]), self.traits.get(which)
        diastolic = round(systolic - max(NARROWEST_PULSE_MMHG, float(self.pulse_share[which]) * systolic), 1)
        pulse = float(self.pulse_per_min[which])
        person = Person(
            age_years=int(rng.integers(*(OLDER if trait in ("gap", "irregular", "muffled") else ANY_AGE))),
            sex="man" if rng.random() < 0.5 else "woman",
            systolic_mmhg=systolic,
            diastolic_mmhg=diastolic,
            pulse_per_min=pulse,
            rhythm="irregular" if trait == "irregular" else "regular",
            loudness_db=float(self.loudness_db[which]),
            tone=round(float(rng.uniform(0.9, 1.15)), 3),
            phase_widths=LONG_MUFFLED_WIDTHS if trait == "muffled" else PHASE_WIDTHS,
            gap_mmhg=_gap(systolic, diastolic, rng) if trait == "gap" else None,
        )
        traits: list[Trait] = [] if trait is None else [trait]
        if systolic >= HIGH_MMHG:
            traits.append("high")
        elif systolic < LOW_MMHG:
            traits.append("low")
        if pulse >= FAST_PER_MIN:
            traits.append("fast")
        return FormItem(place, person, float(self.release_mmhg_per_s[which]), seed, tuple(traits))


def _gap(systolic: float, diastolic: float, rng: np.random.Generator) -> tuple[float, float]:
    top = systolic - float(rng.uniform(*GAP_BELOW_SYSTOLIC_MMHG))
    width = float(np.clip((systolic - diastolic) * rng.uniform(*GAP_SHARE_OF_PULSE), 10, 40))
    return round(top - width, 1), round(top, 1)
