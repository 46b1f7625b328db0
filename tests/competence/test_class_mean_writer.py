"""Who writes the class mean every time: lands near in a third of readings, and passes no shipped rule."""

from __future__ import annotations

import random

import pytest

from hushpoint.agreement import PairedReading
from hushpoint.competence import Competent, Variety, judge
from hushpoint.guideline.competence_rules import PassRule, competence_rules

CLASS = (117.0, 12.0, 72.0, 9.0)
"""Mean and SD of a young class, systolic and diastolic [mmHg]."""

VARIETY = ((146.0, 88.0), (164.0, 96.0))
"""One reading at or above 140 and one at or above 160, as the required variety asks."""


def written(draw: random.Random, wobble_mmhg: float, n: int) -> list[tuple[PairedReading, PairedReading]]:
    """`n` pairs: the reference's on classmates, two of them high; the writer's the class mean and a wobble."""
    both = []
    for place in range(n):
        upper, lower = 2 * round(draw.gauss(*CLASS[:2]) / 2), 2 * round(draw.gauss(*CLASS[2:]) / 2)
        if place < len(VARIETY):
            upper, lower = VARIETY[place]
        mine = [2 * round((mean + draw.gauss(0, wobble_mmhg)) / 2) for mean in (CLASS[0], CLASS[2])]
        client = f"c{place % 24}"
        both.append(
            (
                PairedReading(str(place), "S", mine[0], mine[1], client),
                PairedReading(str(place), "L", upper, min(lower, upper - 10), client),
            )
        )
    return both


@pytest.mark.parametrize("rule", competence_rules().values(), ids=lambda rule: rule.id)
@pytest.mark.parametrize("wobble_mmhg", [0.0, 2.0, 4.0])
def test_writing_the_class_mean_of_twenty_four_passes_no_shipped_rule(rule: PassRule, wobble_mmhg: float) -> None:
    """In 200 classes, with and without a wobble to hide it, never competent, with or without variety asked."""
    draw = random.Random(71)
    for _ in range(200):
        both = written(draw, wobble_mmhg, rule.set_size)
        assert not isinstance(judge(rule, both, Variety()).verdict, Competent)
        assert not isinstance(judge(rule, both).verdict, Competent)


def test_the_class_mean_lands_within_eight_in_a_third() -> None:
    """Both numbers within 8 in 31 %: the chance of a normal error of 12 times that of 9."""
    draw = random.Random(72)
    near = 0
    for _ in range(4000):
        mine = (117, 72)
        theirs = (draw.gauss(*CLASS[:2]), draw.gauss(*CLASS[2:]))
        near += all(abs(one - other) <= 8 for one, other in zip(mine, theirs, strict=True))
    assert near / 4000 == pytest.approx(0.31, abs=0.02)
