"""Oral questions made from the guideline tables: the cuff for an arm, the category at an edge, the next step.

The answer is looked up in the same tables that judge a visit, never written down twice; the source is shown after.
Values are drawn near the edges, where a slip matters. Everything comes from a seed and a number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from hushpoint.errors import BadInputError
from hushpoint.guideline import cuff_for, cuff_sizes
from hushpoint.guideline.clinical_policies import ClinicalPolicy, LadderStep, clinical_policies

QuestionKind = Literal["cuff", "category", "next_step"]
QUESTION_KINDS: tuple[QuestionKind, ...] = get_args(QuestionKind)
KIND_WORDS: dict[QuestionKind, str] = {
    "cuff": "The cuff for an arm",
    "category": "The category at an edge",
    "next_step": "The next step",
}
NEAR_EDGE_MMHG = 2
"""Values are drawn this near an edge, the edge itself among them (design choice)."""
FOR_ADULTS = ("AAP_2017",)
"""Left out: its bands hold from 13 years, and the questions speak of adults."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question with its choices; `right` is the place of the right one. `source` and `mark` are shown after."""

    number: int
    kind: QuestionKind
    text: str
    choices: tuple[str, ...]
    right: int
    why: str
    source: str
    mark: str


def question(seed: int, number: int) -> Question:
    """Return question `number` (1, 2 …) of a series: kinds take turns, the same two numbers give the same one."""
    if seed < 0 or number < 1:
        raise BadInputError(f"question {number} of series {seed}: the number must be 1 or more, the seed 0 or more")
    kind = QUESTION_KINDS[(number - 1) % len(QUESTION_KINDS)]
    rng = np.random.default_rng([seed, number])
    return {"cuff": _cuff, "category": _category, "next_step": _next_step}[kind](number, rng)


def _cuff(number: int, rng: np.random.Generator) -> Question:
    sizes = cuff_sizes()
    edges = [edge for size in sizes for edge in (size.arm_from_cm, size.arm_to_cm)]
    arm_cm = int(rng.choice(edges))
    right = cuff_for(arm_cm)
    choices = tuple(f"{one.label}, bladder {one.bladder_width_cm:g} x {one.bladder_length_cm:g} cm" for one in sizes)
    return Question(
        number,
        "cuff",
        f"The upper arm measures {arm_cm} cm around its middle. Which cuff?",
        choices,
        [one.id for one in sizes].index(right.id),
        f"{right.label} for {right.arm_from_cm} to {right.arm_to_cm} cm",
        right.source,
        right.provenance,
    )


def _policies() -> list[ClinicalPolicy]:
    return [one for one in clinical_policies().values() if one.id not in FOR_ADULTS]


def _category(number: int, rng: np.random.Generator) -> Question:
    known = _policies()
    policy = known[int(rng.integers(len(known)))]
    bands = policy.scheme.bands
    band = bands[int(rng.integers(1, len(bands)))]
    systolic, diastolic = _near(band.systolic_from_mmhg, rng), int(rng.integers(60, 78))
    if band.diastolic_from_mmhg is not None and rng.random() < 0.5:
        diastolic = _near(band.diastolic_from_mmhg, rng)
        systolic = max(int(rng.integers(100, 118)), diastolic + 24)
    place = policy.scheme.rank(systolic, diastolic)
    found = bands[place]
    lower = "" if found.diastolic_from_mmhg is None else f" or diastolic {found.diastolic_from_mmhg:g}"
    why = f"{found.name} from systolic {found.systolic_from_mmhg:g}{lower}; the higher of the two ends decides"
    if not place:
        why = f"{found.name}: below systolic {bands[1].systolic_from_mmhg:g} and under every diastolic edge"
    return Question(
        number,
        "category",
        f"The value of the visit is {systolic}/{diastolic}. What does {policy.name} call this range of numbers?",
        tuple(one.name for one in bands),
        place,
        why,
        policy.scheme.source,
        policy.scheme.provenance,
    )


def _next_step(number: int, rng: np.random.Generator) -> Question:
    known = _policies()
    policy = known[int(rng.integers(len(known)))]
    # without symptoms the first of these does not hold; the last one always does
    steps = [one for one in policy.ladder if one.verdict != "emergency_with_symptoms"]
    step = steps[int(rng.integers(len(steps) - 1))]
    systolic = _near(step.systolic_mmhg, rng)
    diastolic = min(int(rng.integers(70, 82)), systolic - 30)
    reached = next(one for one in steps if one.reached(systolic, diastolic))
    choices = tuple(dict.fromkeys(_told(one) for one in steps))
    edge = "above" if reached.strict else "from"
    limit = "" if reached is steps[-1] else f"{edge} {reached.systolic_mmhg:g}/{reached.diastolic_mmhg:g}: "
    return Question(
        number,
        "next_step",
        f"An adult without symptoms, confirmed at {systolic}/{diastolic}. {policy.name} as shipped here: what next?",
        choices,
        choices.index(_told(reached)),
        f"{limit}{_told(reached)}; limits: {reached.limits}",
        reached.source,
        reached.provenance,
    )


def _near(edge_mmhg: float, rng: np.random.Generator) -> int:
    return int(edge_mmhg) + int(rng.integers(-NEAR_EDGE_MMHG, NEAR_EDGE_MMHG + 1))


def _told(step: LadderStep) -> str:
    when = "today" if step.within_days == 0 else f"within {step.within_days} days"
    if step.verdict == "proceed":
        return f"no stop by pressure alone, measure again {when}"
    return f"{step.verdict.replace('_', ' ')} to {step.to}, {when}"
