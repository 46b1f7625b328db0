"""Learning curves: has this learner arrived (LC-CUSUM), and does the skill hold (classical CUSUM)?

Limits are computed by the exact chain for the chosen error rates and horizon, never copied: a limit quoted for other
rates can pass most learners who are not there yet. Sources: Biau & Porcher 2010, Stat Med 29:1900 (the idea; the
weights are from memory), classical CUSUM as in Williams 1992, BMJ 304:1359 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

from hushpoint.competence.verdict import Competent, NotYet, TooFew, Verdict, counted
from hushpoint.errors import BadInputError

LIMIT_STEP = 0.05
"""Limits are sought on steps of this size (our choice; a finer one changes no count of clean readings much)."""

_CLOSE = 1e-9


@dataclass(frozen=True, slots=True)
class CurveLimit:
    """An LC-CUSUM: weights, limit, and its odds, all exact.

    `adequate` and `inadequate` are error rates (shares from 0 to 1), `horizon` a number of readings, the other
    shares the chance of a signal within the horizon at the inadequate, the adequate and half the adequate rate.
    """

    adequate: float
    inadequate: float
    horizon: int
    up: float
    down: float
    limit: float
    clean_in_a_row: int
    false_signal: float
    true_signal: float
    true_signal_at_half: float


@dataclass(frozen=True, slots=True)
class Curve:
    """The chart of one learner: the score after each reading, and what it shows."""

    limit: CurveLimit
    scores: tuple[float, ...]
    verdict: Verdict


def weights(adequate: float, inadequate: float) -> tuple[float, float]:
    """Return what a right reading adds and a wrong one takes. Raises BadInputError for rates out of order."""
    if not 0 < adequate < inadequate < 1:
        raise BadInputError(
            f"error rates {adequate:g} and {inadequate:g}: the adequate one must be above 0 and below the other, "
            "the other below 1"
        )
    return math.log((1 - adequate) / (1 - inadequate)), math.log(inadequate / adequate)


def signal_chances(up: float, down: float, limit: float, error_rate: float, horizon: int) -> tuple[float, ...]:
    """Return the chance of a signal at or before reading 1, 2 … `horizon`: the exact run length distribution.

    The chain's state is the count of right and wrong readings since the score was last zero, so no rounding enters.
    """
    signalled, chances = 0.0, []
    states = {(0, 0): 1.0}
    for _ in range(horizon):
        after: dict[tuple[int, int], float] = {}
        for (right, wrong), chance in states.items():
            if (right + 1) * up - wrong * down >= limit - _CLOSE:
                signalled += chance * (1 - error_rate)
            else:
                better = (right + 1, wrong)
                after[better] = after.get(better, 0.0) + chance * (1 - error_rate)
            worse = (right, wrong + 1) if right * up - (wrong + 1) * down > _CLOSE else (0, 0)
            after[worse] = after.get(worse, 0.0) + chance * error_rate
        states = after
        chances.append(signalled)
    return tuple(chances)


@cache
def curve_limit(adequate: float, inadequate: float, horizon: int, false_signal: float) -> CurveLimit:
    """Return the lowest limit, on steps of 0.05, whose false signals within the horizon stay at or under the target.

    Raises BadInputError for rates out of order, a horizon outside 1 to 200 or a target outside 0.001 to 0.5.
    """
    up, down = weights(adequate, inadequate)
    if not 1 <= horizon <= 200:
        raise BadInputError(f"horizon {horizon}: 1 to 200 readings are allowed")
    if not 0.001 <= false_signal <= 0.5:
        raise BadInputError(f"false signals {false_signal:g}: a share from 0.001 to 0.5 is allowed")

    def chance(step: int, rate: float) -> float:
        return signal_chances(up, down, step * LIMIT_STEP, rate, horizon)[-1]

    low, high = 0, math.ceil((horizon + 1) * up / LIMIT_STEP)  # above the highest reachable score nothing signals
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(middle, inadequate) <= false_signal else (middle, high)
    limit = round(high * LIMIT_STEP, 6)
    return CurveLimit(
        adequate, inadequate, horizon, up, down, limit, clean_needed(0.0, up, limit),
        chance(high, inadequate), chance(high, adequate), chance(high, adequate / 2),
    )  # fmt: skip


def clean_needed(score: float, up: float, limit: float) -> int:
    """Return how many right readings in a row would bring the score to the limit."""
    return max(0, math.ceil((limit - score) / up - _CLOSE))


def learning_curve(right: Iterable[bool], limit: CurveLimit) -> Curve:
    """Return the chart of readings in the order they were made, True for a right one.

    The score rests once it has reached the limit: arrival is shown once. Readings beyond the horizon still count, and
    the reasons then say that the limit's odds were made for fewer.
    """
    score, scores, arrived, n = 0.0, [], None, 0
    for n, good in enumerate(right, start=1):
        if arrived is None:
            score = max(0.0, score + (limit.up if good else -limit.down))
            if score >= limit.limit - _CLOSE:
                arrived = n
        scores.append(score)
    reasons: tuple[str, ...] = (
        f"someone wrong in {_percent(limit.inadequate)} of readings would show this within {limit.horizon} in "
        f"{_percent(limit.false_signal)}, someone wrong in {_percent(limit.adequate)} in {_percent(limit.true_signal)}",
    )
    if (arrived or n) > limit.horizon:
        reasons += (f"the limit's odds were made for {limit.horizon} readings; there are more here",)
    verdict: Verdict
    if arrived is not None:
        verdict = Competent((f"arrived with reading {arrived} of {n}", *reasons))
    else:
        more = clean_needed(score, limit.up, limit.limit)
        words = (f"{counted(more, 'more clean reading')} would show it",)
        verdict = TooFew(reasons, words) if n < limit.clean_in_a_row else NotYet(reasons, words)
    return Curve(limit, tuple(scores), verdict)


def _percent(share: float) -> str:
    return f"{round(100 * share, 1):g} %"


@dataclass(frozen=True, slots=True)
class SteadyLimits:
    """A classical CUSUM: a right reading takes `slope`, a wrong one adds 1 - `slope`; limits above and below zero."""

    acceptable: float
    unacceptable: float
    slope: float
    upper: float
    lower: float


@dataclass(frozen=True, slots=True)
class SteadyOdds:
    """Exact odds of a classical CUSUM at one error rate: crossing up, down or not within the horizon; mean length."""

    crosses_up: float
    crosses_down: float
    open: float
    mean_readings: float


def steady_limits(
    acceptable: float, unacceptable: float, false_alarm: float = 0.1, missed_alarm: float = 0.1
) -> SteadyLimits:
    """Return slope and limits for two error rates and two risks. Raises BadInputError outside their order and 0 to 0.5.

    P = ln(p1/p0), Q = ln((1-p0)/(1-p1)), slope Q/(P+Q), upper ln((1-beta)/alpha)/(P+Q), lower likewise.
    """
    q, p = weights(acceptable, unacceptable)
    if not (0 < false_alarm < 0.5 and 0 < missed_alarm < 0.5):
        raise BadInputError(f"risks {false_alarm:g} and {missed_alarm:g}: above 0 and below 0.5 are allowed")
    return SteadyLimits(
        acceptable,
        unacceptable,
        q / (p + q),
        math.log((1 - missed_alarm) / false_alarm) / (p + q),
        math.log((1 - false_alarm) / missed_alarm) / (p + q),
    )


def steady_scores(right: Sequence[bool], limits: SteadyLimits) -> tuple[float, ...]:
    """Return the classical CUSUM after each reading, never reset."""
    wrong, scores = 0, []
    for n, good in enumerate(right, start=1):
        wrong += not good
        scores.append(wrong - n * limits.slope)
    return tuple(scores)


def steady_odds(limits: SteadyLimits, error_rate: float, horizon: int) -> SteadyOdds:
    """Return what becomes of a learner of this error rate (0 to 1) within `horizon` readings, by the exact chain.

    The state is the number of wrong readings. `mean_readings` counts a chart still open as `horizon` long.
    """
    if not (0 <= error_rate <= 1 and 1 <= horizon <= 10_000):
        raise BadInputError(f"rate {error_rate:g}, horizon {horizon}: 0 to 1 and 1 to 10000 are allowed")
    states, up, down, readings = {0: 1.0}, 0.0, 0.0, 0.0
    for n in range(1, horizon + 1):
        readings += math.fsum(states.values())
        after: dict[int, float] = {}
        for wrong, chance in states.items():
            for errs, share in ((0, 1 - error_rate), (1, error_rate)):
                score = wrong + errs - n * limits.slope
                if score >= limits.upper - _CLOSE:
                    up += chance * share
                elif score <= -limits.lower + _CLOSE:
                    down += chance * share
                else:
                    after[wrong + errs] = after.get(wrong + errs, 0.0) + chance * share
        states = after
    return SteadyOdds(up, down, math.fsum(states.values()), readings)
