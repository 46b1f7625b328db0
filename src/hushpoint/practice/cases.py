"""The cases: invented practice persons, met as a line of text, with the traits of their arm kept back.

Everything comes from a seed and a number, so that a case can be made again from what the journal holds.
Over a series of fifteen every kind of arm comes once, in an order of the learner's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from hushpoint.arm import Person, Swings
from hushpoint.errors import BadInputError

Kind = Literal[
    "normal",
    "high",
    "very_high",
    "low",
    "faint",
    "gap",
    "irregular",
    "ectopic",
    "long_muffled",
    "to_zero",
    "large_arm",
    "small_arm",
    "full_bladder",
    "wide_pulse",
    "narrow_pulse",
    "fast",
]
KINDS: tuple[Kind, ...] = tuple(kind for kind in get_args(Kind) if kind != "fast")
"""Those of a series. A fast pulse comes on purpose alone: in a series the pulse varies anyway."""

_BY_AGE = (
    (18, 117.0, 11.0, 72.0, 8.5),  # under 35: about a normotensive adult, 116/69 (facts 7.5; SD FROM MEMORY)
    (35, 123.8, 12.6, 80.6, 10.0),
    (45, 133.7, 17.0, 85.6, 10.1),
    (55, 142.9, 19.1, 84.9, 10.5),
)
"""From this age: men's systolic mean and SD, diastolic mean and SD [mmHg] (MONICA survey 6.1.2-6.1.3;
SEEN)."""
WOMEN_MMHG = (-4.0, -4.0)
"""Women's medians beside men's, 117/69 against 121/73 (JAMA Cardiol 2017 table; DERIVED by subtraction)."""
PULSE_PER_MIN = {"man": (71.0, 11.5), "woman": (74.0, 11.5)}
"""Resting pulse (NHSR 41; SEEN) and its SD (FROM MEMORY)."""
FAST_PER_MIN = (94.0, 112.0)
"""A fast pulse at rest (design choice: above 90, below what a resting measurement would be put off for)."""
ARM_CM = {"man": (34.2, 4.5), "woman": (31.9, 4.5)}
"""Mid-arm circumference (Ostchega 2013; SEEN) and its SD (FROM MEMORY)."""
LOUD_DB = (40.0, 50.0)
"""Phase III over the hearing floor [dB] (acoustics 2: 40 at 72 dB SPL; FROM MEMORY)."""
FAINT_DB = (24.0, 32.0)
"""A faint arm: 12 dB and more down, so that the muffled end is lost (acoustics 1; FROM MEMORY)."""
USUAL_WIDTHS = (0.25, 0.25, 0.35, 0.15)
"""Phases I to IV as parts of pulse pressure (design choice, as the arm's own default)."""
LONG_MUFFLED_WIDTHS = (0.2, 0.2, 0.25, 0.35)
"""Phases I to IV as parts of pulse pressure where muffling is long (design choice)."""
GAP_SHARE_OF_PULSE = (0.25, 0.5)
"""Width of a silent gap as a share of pulse pressure, held to 10 to 40 mmHg (facts: up to about 40; FROM
MEMORY)."""


@dataclass(frozen=True, slots=True)
class Case:
    """A practice person as met, and what stays hidden until the judgement.

    `says` is what the person says; `full_bladder` and `coffee` come out by asking; `arm_offset_cm` is how
    far the wrong heights of this room put the cuff from the heart.
    """

    number: int
    kind: Kind
    person: Person
    says: str
    full_bladder: bool
    coffee: bool
    arm_offset_cm: float

    @property
    def line(self) -> str:
        """The case as the learner meets it: number, sex, age, arm and what the person says."""
        person = self.person
        met = f"{person.sex}, {person.age_years}, upper arm {person.arm_cm:.0f} cm"
        return f"Person {self.number}: {met}. {self.says}"

    def to_json(self) -> dict[str, Any]:
        """Return what the learner may see, nothing of the hidden traits."""
        return {
            "number": self.number,
            "line": self.line,
            "sex": self.person.sex,
            "age_years": self.person.age_years,
            "arm_cm": round(self.person.arm_cm),
            "says": self.says,
            "invented": True,
        }


def case_of(seed: int, number: int, kind: Kind | None = None) -> Case:
    """Return case `number` (1, 2, 3 …) of the series `seed`: the same give the same case.

    `kind`: what was chosen for this number on purpose; None for what the series has there.
    """
    if number < 1 or seed < 0:
        raise BadInputError(f"case {number} of series {seed}: the number must be 1 or more, the seed 0 or more")
    if kind is not None:
        return draw_case(np.random.default_rng([seed, number, 1]), number, kind)
    block, place = divmod(number - 1, len(KINDS))
    order = [KINDS[index] for index in np.random.default_rng([seed, block]).permutation(len(KINDS))]
    if block == 0:
        # a first arm should be an ordinary one
        order.remove("normal")
        order.insert(0, "normal")
    return draw_case(np.random.default_rng([seed, number, 1]), number, order[place])


def draw_case(rng: np.random.Generator, number: int, kind: Kind) -> Case:
    """Return an invented case of one kind."""
    sex = "man" if rng.random() < 0.5 else "woman"
    age = int(rng.integers(*_ages(kind)))
    systolic, diastolic = _pressures(kind, sex, age, rng)
    mean, sd = PULSE_PER_MIN[sex]
    pulse = float(np.clip(rng.normal(mean, sd), 48, 104))
    if kind == "fast":
        pulse = float(rng.uniform(*FAST_PER_MIN))
    arm_cm = _arm_cm(kind, sex, rng)
    rushed = bool(rng.random() < 0.25)
    person = Person(
        age_years=age,
        sex=sex,
        arm_cm=arm_cm,
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        pulse_per_min=round(pulse),
        rhythm=kind if kind in ("irregular", "ectopic") else "regular",
        gap_mmhg=_gap(systolic, diastolic, rng) if kind == "gap" else None,
        sounds_to_zero=kind == "to_zero",
        **_sound(kind, rng),
    )
    coffee = bool(rng.random() < 0.2)
    return Case(
        number=number,
        kind=kind,
        person=person,
        says=_says(sex, rushed=rushed, kind=kind, rng=rng),
        full_bladder=kind == "full_bladder",
        coffee=coffee,
        arm_offset_cm=float(rng.integers(6, 15)),
    )


def _ages(kind: Kind) -> tuple[int, int]:
    older = ("very_high", "gap", "irregular", "wide_pulse", "long_muffled")
    return (50, 79) if kind in older else (19, 70)


def _pressures(kind: Kind, sex: str, age: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return systolic and diastolic [mmHg]: drawn from the population, then held inside what the kind
    means."""
    _, s_mean, s_sd, d_mean, d_sd = next(row for row in reversed(_BY_AGE) if age >= row[0])
    shift = WOMEN_MMHG if sex == "woman" else (0.0, 0.0)
    systolic, diastolic = rng.normal(s_mean + shift[0], s_sd), rng.normal(d_mean + shift[1], d_sd)
    spread = rng.random()
    match kind:
        case "normal" | "fast":
            systolic, diastolic = np.clip(systolic, 104, 128), np.clip(diastolic, 62, 80)
        case "high":
            systolic, diastolic = 142 + 34 * spread, 84 + 20 * rng.random()
        case "very_high":
            systolic, diastolic = 186 + 30 * spread, 104 + 18 * rng.random()
        case "low":
            systolic, diastolic = 84 + 12 * spread, 48 + 10 * rng.random()
        case "gap":
            systolic, diastolic = 166 + 30 * spread, 88 + 16 * rng.random()
        case "wide_pulse":
            systolic, diastolic = 150 + 28 * spread, 52 + 14 * rng.random()
        case "narrow_pulse":
            diastolic = np.clip(diastolic, 72, 96)
            systolic = diastolic + 20 + 8 * spread
        case "to_zero":
            systolic, diastolic = np.clip(systolic, 112, 150), np.clip(diastolic, 58, 74)
        case _:
            systolic, diastolic = np.clip(systolic, 100, 170), np.clip(diastolic, 58, 104)
    if kind != "narrow_pulse":
        diastolic = min(diastolic, systolic - 30)
    return float(round(systolic, 1)), float(round(diastolic, 1))


def _arm_cm(kind: Kind, sex: str, rng: np.random.Generator) -> float:
    mean, sd = ARM_CM[sex]
    if kind == "large_arm":
        return float(rng.integers(36, 50))
    if kind == "small_arm":
        return float(rng.integers(22, 27))
    return float(round(np.clip(rng.normal(mean, sd), 24, 42)))


def _gap(systolic: float, diastolic: float, rng: np.random.Generator) -> tuple[float, float]:
    pulse = systolic - diastolic
    width = float(np.clip(pulse * rng.uniform(*GAP_SHARE_OF_PULSE), 10, 40))
    top = systolic - rng.uniform(8, 16)
    return (round(top - width, 1), round(top, 1))


def _sound(kind: Kind, rng: np.random.Generator) -> dict[str, Any]:
    """Return loudness, tone, phase widths and swings of an arm (FROM MEMORY)."""
    widths = np.array(LONG_MUFFLED_WIDTHS if kind == "long_muffled" else USUAL_WIDTHS)
    widths *= rng.uniform(0.9, 1.1, 4)
    first, second, third = (float(width) for width in np.round(widths / widths.sum(), 4)[:3])
    return {
        "loudness_db": float(round(rng.uniform(*(FAINT_DB if kind == "faint" else LOUD_DB)), 1)),
        "tone": float(round(rng.uniform(0.85, 1.2), 3)),
        "phase_widths": (first, second, third, 1 - first - second - third),
        "swings": Swings(
            breathing_mmhg=float(rng.uniform(3, 6)),
            slow_wave_mmhg=float(rng.uniform(2, 4)),
            beat_sd_mmhg=float(rng.uniform(0.6, 1.4)),
            loudness_share=0.2,
        ),
    }


def _says(sex: str, *, rushed: bool, kind: Kind, rng: np.random.Generator) -> str:
    he = "He" if sex == "man" else "She"
    if rushed:
        return f"{he} says: I rushed up the stairs, am I late?"
    if kind == "full_bladder":
        return f"{he} shifts about in the chair."
    return str(
        rng.choice(
            [
                f"{he} says: I have done this before.",
                f"{he} says: will it squeeze hard?",
                f"{he} likes to talk.",
                f"{he} says: it was a quiet morning.",
                f"{he} wears a thin sleeve, pushed up.",
                f"{he} asks what the numbers mean.",
            ]
        )
    )
