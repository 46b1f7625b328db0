"""Whom to measure next: the kind of arm on which a mistake is most likely and tells most, spaced in time.

For every kind a learner's typical error is estimated with its uncertainty from the readings so far (normal errors of
unknown spread: the posterior of their variance is a scaled inverse chi-square; Gelman, Bayesian Data Analysis, 2.6;
FROM MEMORY). What was shown fades with time and with newer readings, and the estimate goes back to a beginner's: so a
kind comes again when it may have been forgotten. The next kind is drawn by top-two Thompson sampling (Russo 2016, COLT;
FROM MEMORY): how often a kind comes follows the chance that it is the weakest, so that certain strengths do not use up
the day's readings. Feedback fades over the first sets from after each reading to the end of the set.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm import Person
from hushpoint.errors import BadInputError
from hushpoint.practice.cases import FAINT_DB, LONG_MUFFLED_WIDTHS, Kind
from hushpoint.practice.judge import NEAR_MMHG

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
EarKind = Literal["high", "low", "faint", "gap", "irregular", "fast", "muffled"]
EAR_KINDS: tuple[EarKind, ...] = get_args(EarKind)
WORDS: dict[EarKind, str] = {
    "high": "high pressure",
    "low": "low pressure",
    "faint": "faint sounds",
    "gap": "a silent gap",
    "irregular": "an irregular pulse",
    "fast": "a fast pulse",
    "muffled": "a long muffled end",
}
CASE_KINDS: dict[EarKind, tuple[Kind, ...]] = {
    "high": ("high", "very_high", "wide_pulse"),
    "low": ("low",),
    "faint": ("faint",),
    "gap": ("gap",),
    "irregular": ("irregular", "ectopic"),
    "fast": ("fast",),
    "muffled": ("long_muffled", "to_zero"),
}
"""Which practice persons show a kind."""

HIGH_MMHG, LOW_MMHG, FAST_PER_MIN = 140.0, 100.0, 90.0

BEGINNER_MMHG = 5.0
"""Typical error taken for granted before anything was heard (design choice; learners' was 3.6 on normal and 8.4 on high
arms, job facts R10)."""
BEGINNER_WEIGHT, KIND_WEIGHT = 4.0, 3.0
"""That assumption weighs as much as so many answers; and on each kind the learner's own error on all kinds together
weighs as much as so many (design choice: little, so that a kind's own answers soon speak)."""
LARGEST_MMHG = 20.0
"""A larger error counts as this much: one slip in a gap must not hide what came after (design choice)."""
NEWER_SHARE = 0.97
"""Each new reading of a kind leaves this share of the weight of the older ones (design choice)."""
FIRST_HALF_LIFE_DAYS, LONGEST_HALF_LIFE_DAYS = 7.0, 195.0
"""Half of what was shown has faded after so long: at first a week (design choice), after readings that went well on
later days twice as long each time, up to 6.5 months (unused accuracy gains halve in 6.5 months, Tatel & Ackerman; job
facts R14, SEEN)."""
LATER_DAYS = 0.5
"""A reading so long after the last of its kind counts as spaced (design choice)."""
DRAWS = 64

SET_SIZE = 4
"""Readings of a day's set: about a quarter of an hour (design choice)."""
FEEDBACK_EVERY = (1, 1, 2, 2)
"""In the first sets feedback comes after every, then after every second reading; from then on at the end of the set
(fading; terminal feedback beat concurrent on transfer, SMD 0.94, high bias risk, Sattelmayer 2016; SEEN. The steps are
a design choice)."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One judged reading: its kind, when [days on any one scale], and the ear's error at each end [mmHg].

    An end that the release did not give (pumped too low) has no error; one that was there and not heard has
    LARGEST_MMHG.
    """

    kind: EarKind | None
    at_days: float
    systolic_error_mmhg: float | None
    diastolic_error_mmhg: float | None

    @property
    def near(self) -> bool:
        """Whether both ends lie within 4 mmHg."""
        return all(error is None or abs(error) <= NEAR_MMHG for error in self._errors)

    @property
    def _errors(self) -> tuple[float | None, float | None]:
        return self.systolic_error_mmhg, self.diastolic_error_mmhg

    def errors_mmhg(self) -> Floats:
        """Return both errors, NaN where there is none."""
        return np.array([[np.nan if error is None else error for error in self._errors]])


@dataclass(frozen=True, slots=True)
class Estimate:
    """What is known of a learner's ear on one kind.

    `typical_mmhg`: root mean square error, with a 90 % range; `readings` so far, `near` of them within 4 mmHg.
    """

    kind: EarKind
    readings: int
    near: int
    typical_mmhg: float
    low_mmhg: float
    high_mmhg: float
    last_days: float | None


@dataclass(frozen=True, slots=True)
class Choice:
    """Whom to measure next, and why in one line."""

    kind: EarKind
    case_kind: Kind
    why: str


class Beliefs:
    """What the readings tell of `n` learners (rows) and every kind (columns)."""

    def __init__(self, n: int = 1) -> None:
        shape = (n, len(EAR_KINDS))
        self.weight, self.squares = np.zeros(shape), np.zeros(shape)
        self.half_life_days = np.full(shape, FIRST_HALF_LIFE_DAYS)
        self.last_days = np.full(shape, np.nan)
        self.last_kind = np.full(n, -1)

    def take(self, kinds: Whole, errors_mmhg: Floats, at_days: float) -> None:
        """Take one reading of each learner: `kinds` (n) are columns, below 0 for an ordinary arm, which tells of none.

        `errors_mmhg` (n by 2): the ear's error at both ends, NaN where there is none.
        """
        rows = np.flatnonzero((kinds >= 0) & ~np.isnan(errors_mmhg).all(axis=1))
        kinds = kinds[rows]
        error = np.minimum(np.abs(errors_mmhg[rows]), LARGEST_MMHG)
        last, half = self.last_days[rows, kinds], self.half_life_days[rows, kinds]
        faded = NEWER_SHARE * np.where(np.isnan(last), 0.0, 0.5 ** (np.maximum(at_days - last, 0.0) / half))
        self.weight[rows, kinds] = faded * self.weight[rows, kinds] + (~np.isnan(error)).sum(axis=1)
        self.squares[rows, kinds] = faded * self.squares[rows, kinds] + np.nansum(error**2, axis=1)
        spaced = ~np.isnan(last) & (at_days - last >= LATER_DAYS)
        longer = np.where(np.nanmax(error, axis=1, initial=0.0) <= NEAR_MMHG, 2.0, 0.5)
        held = np.clip(half * np.where(spaced, longer, 1.0), FIRST_HALF_LIFE_DAYS, LONGEST_HALF_LIFE_DAYS)
        self.half_life_days[rows, kinds] = held
        self.last_days[rows, kinds] = at_days
        self.last_kind[rows] = kinds

    def now(self, at_days: float) -> tuple[Floats, Floats]:
        """Return degrees of freedom and mean square error [mmHg^2] of the posterior, each n by kinds."""
        age = np.where(np.isnan(self.last_days), 0.0, np.maximum(at_days - self.last_days, 0.0))
        fade = 0.5 ** (age / self.half_life_days)
        weight, squares = fade * self.weight, fade * self.squares
        everywhere = (BEGINNER_WEIGHT * BEGINNER_MMHG**2 + squares.sum(axis=1)) / (BEGINNER_WEIGHT + weight.sum(axis=1))
        return KIND_WEIGHT + weight, (KIND_WEIGHT * everywhere[:, None] + squares) / (KIND_WEIGHT + weight)

    def drawn(self, at_days: float, rng: np.random.Generator, draws: int) -> Floats:
        """Return draws of the mean square error from the posterior: draws by n by kinds."""
        weight, square = self.now(at_days)
        sampled: Floats = weight * square / rng.chisquare(weight, (draws, *weight.shape))
        return sampled

    def chances(self, at_days: float, rng: np.random.Generator, draws: int = 4 * DRAWS) -> Floats:
        """Return the chance of each kind to be the weakest: n by kinds."""
        top = self.drawn(at_days, rng, draws).argmax(axis=2)
        counted: Floats = np.stack([(top == kind).mean(axis=0) for kind in range(len(EAR_KINDS))], axis=1)
        return counted

    def choose(self, at_days: float, rng: np.random.Generator) -> Whole:
        """Return the next kind of each learner: never the last one's again, so that kinds are mixed."""
        top = self.drawn(at_days, rng, DRAWS)
        rows = np.arange(top.shape[1])
        seen = self.last_kind >= 0
        top[:, rows[seen], self.last_kind[seen]] = 0.0
        best = top.argmax(axis=2)
        first = best[0]
        other = best != first
        second = np.where(other.any(axis=0), best[other.argmax(axis=0), rows], first)
        chosen: Whole = np.where(rng.random(len(rows)) < 0.5, first, second)
        return chosen


def kind_of(person: Person) -> EarKind | None:
    """Return what makes an arm hard for the ear: one kind, the rarest first; None for an ordinary arm."""
    if person.gap_mmhg is not None:
        return "gap"
    if person.rhythm != "regular":
        return "irregular"
    if person.sounds_to_zero or person.phase_widths[3] > (LONG_MUFFLED_WIDTHS[3] + 0.15) / 2:
        return "muffled"
    if person.loudness_db <= FAINT_DB[1]:
        return "faint"
    if person.systolic_mmhg >= HIGH_MMHG:
        return "high"
    if person.systolic_mmhg < LOW_MMHG:
        return "low"
    return "fast" if person.pulse_per_min >= FAST_PER_MIN else None


def beliefs_of(attempts: Iterable[Attempt]) -> Beliefs:
    """Return what a learner's attempts tell, oldest first."""
    beliefs = Beliefs()
    for one in attempts:
        kind = -1 if one.kind is None else EAR_KINDS.index(one.kind)
        beliefs.take(np.array([kind]), one.errors_mmhg(), one.at_days)
    return beliefs


def estimates(attempts: Sequence[Attempt], at_days: float) -> list[Estimate]:
    """Return what is known of every kind, the weakest first."""
    from scipy.stats import chi2

    weight, square = (one[0] for one in beliefs_of(attempts).now(at_days))
    found = []
    for place, kind in enumerate(EAR_KINDS):
        mine = [one for one in attempts if one.kind == kind]
        total = weight[place] * square[place]
        low, high = np.sqrt(total / chi2.ppf((0.95, 0.05), weight[place]))
        found.append(
            Estimate(
                kind,
                len(mine),
                sum(one.near for one in mine),
                float(np.sqrt(square[place])),
                float(low),
                float(high),
                mine[-1].at_days if mine else None,
            )
        )
    return sorted(found, key=lambda one: -one.typical_mmhg)


def choose(attempts: Sequence[Attempt], at_days: float, rng: np.random.Generator) -> Choice:
    """Return the next practice person's kind; the same attempts and generator state give the same."""
    kind = EAR_KINDS[int(beliefs_of(attempts).choose(at_days, rng)[0])]
    mine = [one for one in attempts if one.kind == kind]
    if not mine:
        why = f"{WORDS[kind]}: not met yet"
    else:
        near = sum(one.near for one in mine)
        days = max(0, int(at_days - mine[-1].at_days))
        ago = "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"
        why = f"{WORDS[kind]}: {near} of {len(mine)} within {NEAR_MMHG:g} so far, last met {ago}"
    cases = CASE_KINDS[kind]
    return Choice(kind, cases[int(rng.integers(len(cases)))], why)


def feedback_now(set_number: int, place: int) -> bool:
    """Return whether the judgement follows at once after reading `place` (1, 2 …) of set `set_number` (1, 2 …)."""
    if set_number < 1 or not 1 <= place <= SET_SIZE:
        raise BadInputError(f"set {set_number}, reading {place}: 1 or more, and 1 to {SET_SIZE}, are allowed")
    every = FEEDBACK_EVERY[set_number - 1] if set_number <= len(FEEDBACK_EVERY) else SET_SIZE
    return place % every == 0
