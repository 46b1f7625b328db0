"""The set-up of a measurement: rows to choose from, and what each choice does to the arm.

Nothing is preset and the choices of a row are shuffled. Each fault's size is drawn uniformly from its
published range (guideline table technique_effects.csv) and named afterwards with that range and its source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hushpoint.arm import ArmEffects
from hushpoint.errors import BadInputError
from hushpoint.guideline import (
    DIASTOLIC_EXTREMES_MMHG,
    HYDROSTATIC_MMHG_PER_CM,
    SETTLING_TAU_S,
    SYSTOLIC_EXTREMES_MMHG,
    cuff_for,
    cuff_sizes,
    technique_effects,
)

if TYPE_CHECKING:
    import numpy as np

    from hushpoint.practice.cases import Case

ROW_IDS = ("asking", "cuff", "rest", "posture", "arm", "marker", "snug", "head", "ears")
"""The rows, in the order of the checklist (facts of the job, steps 4 to 22)."""
NARROWEST_PULSE_MMHG = 12.0
"""Faults never leave less than this between diastolic and systolic (design choice: an arm must stay an
arm)."""
SHORT_REST_S = 60.0
"""What "one minute" of rest is worth [s]."""
NOTHING_PUBLISHED = "No effect on the number is published"
HALVES = 0.5
"""Chance that a head which nobody tapped is on its silent side (design choice)."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to do a row, in plain words."""

    id: str
    words: str


@dataclass(frozen=True, slots=True)
class SetUpRow:
    """One row of the set-up: what is asked, the shuffled choices, and which is right for this case."""

    id: str
    asks: str
    choices: tuple[Choice, ...]
    right: str

    def to_json(self) -> dict[str, Any]:
        """Return the row for the page; which choice is right stays here."""
        choices = [{"id": one.id, "words": one.words} for one in self.choices]
        return {"id": self.id, "asks": self.asks, "choices": choices}


@dataclass(frozen=True, slots=True)
class NamedEffect:
    """What one set-up fault did here [mmHg, dB], and the published range in words with its source.

    `share` is how much of the published effect acts, where a short rest has let part of it fade.
    """

    row: str
    choice: str
    fault: str
    systolic_mmhg: float
    diastolic_mmhg: float
    level_db: float
    silent: bool
    published: str
    source: str
    provenance: str
    share: float = 1.0

    @property
    def line(self) -> str:
        """One line for the judgement: the fault, what it did, the range and its source."""
        if not (self.silent or self.level_db or self.source):
            return f"{self.fault}: {NOTHING_PUBLISHED[0].lower()}{NOTHING_PUBLISHED[1:]}."
        share = f" {self.share * 100:.0f} % of it is left after a minute." if self.share < 1 else ""
        return f"{self.fault}: {self._did()}. {self.published}{self._source()}.{share}"

    @property
    def advice(self) -> str:
        """One line before pumping: the fault and what is published about it, no drawn number."""
        return f"{self.fault}. {self.published}."

    def _did(self) -> str:
        if self.silent:
            return "nothing could be heard"
        if self.level_db:
            return f"the sounds were {abs(self.level_db):.0f} dB fainter"
        return f"{_signed(self.systolic_mmhg)} on systolic and {_signed(self.diastolic_mmhg)} on diastolic here"

    def _source(self) -> str:
        unseen = "; not checked against the printed text" if self.provenance == "FROM MEMORY" else ""
        return f" ({self.source}{unseen})" if self.source else ""


@dataclass(frozen=True, slots=True)
class _Fault:
    """A fault before its size is drawn: which table row, how much of it, and the words for it."""

    row: str
    choice: str
    words: str
    effect: str | None = None
    share: float = 1.0
    height_cm: float = 0.0
    settles: bool = False


def set_up_rows(case: Case, rng: np.random.Generator) -> tuple[SetUpRow, ...]:
    """Return the rows for a case, choices shuffled by `rng`, nothing preset."""
    rows = []
    for row_id, asks, right, choices in _rows(case):
        order = rng.permutation(len(choices))
        rows.append(SetUpRow(row_id, asks, tuple(Choice(*choices[index]) for index in order), right))
    return tuple(rows)


def check_choices(case: Case, value: object) -> dict[str, str]:
    """Return the choices by row; raises BadInputError, one line, where a row or choice is unknown or
    missing."""
    if not isinstance(value, Mapping):
        raise BadInputError("choices: must be an object of row ids and choice ids")
    rows = {row_id: [one[0] for one in choices] for row_id, _, _, choices in _rows(case)}
    for row_id in value:
        if row_id not in rows:
            raise BadInputError(f"choices: a row that is not there; the rows are {', '.join(rows)}")
    chosen: dict[str, str] = {}
    for row_id, allowed in rows.items():
        choice = value.get(row_id)
        if not isinstance(choice, str) or choice not in allowed:
            raise BadInputError(f"choices, {row_id}: choose one of {', '.join(allowed)}")
        chosen[row_id] = choice
    return chosen


def right_choices(case: Case) -> dict[str, str]:
    """Return the right choice of every row for this case."""
    return {row_id: right for row_id, _, right, _ in _rows(case)}


def effects_of(
    case: Case, choices: Mapping[str, str], rng: np.random.Generator
) -> tuple[ArmEffects, tuple[NamedEffect, ...]]:
    """Return what the choices do to the arm, and each fault by name with its drawn size.

    Each size is drawn uniformly from its published range; the sum is held inside the furthest effects of
    the whole review (Kallioinen 2017: systolic -23.6 to +33, diastolic -14 to +23). Not resting fades with
    a time constant.
    """
    named: list[NamedEffect] = []
    steady, settling = [0.0, 0.0], [0.0, 0.0]
    for fault in _faults(case, choices, untapped_is_silent=bool(rng.random() < HALVES)):
        effect = _drawn(fault, rng)
        named.append(effect)
        sums = settling if fault.settles else steady
        sums[0] += effect.systolic_mmhg
        sums[1] += effect.diastolic_mmhg
    room = case.person.systolic_mmhg - case.person.diastolic_mmhg - NARROWEST_PULSE_MMHG
    shares: list[tuple[float, float]] = []
    for index, (low, high) in enumerate((SYSTOLIC_EXTREMES_MMHG, DIASTOLIC_EXTREMES_MMHG)):
        total = steady[index] + settling[index]
        held = min(max(total, low), high)
        if index == 1:
            held = min(held, shares[0][1] + max(room, 0.0))
        shares.append((total, held))
    scale = [held / total if total else 1.0 for total, held in shares]
    if any(abs(held - total) > 0.05 for total, held in shares):
        named.append(_held(shares))
    return (
        ArmEffects(
            systolic_mmhg=steady[0] * scale[0],
            diastolic_mmhg=steady[1] * scale[1],
            settling_systolic_mmhg=settling[0] * scale[0],
            settling_diastolic_mmhg=settling[1] * scale[1],
            settling_tau_s=SETTLING_TAU_S,
            level_db=sum(one.level_db for one in named),
            silent=any(one.silent for one in named),
        ),
        tuple(named),
    )


def advice_for(case: Case, choices: Mapping[str, str]) -> list[dict[str, str]]:
    """Return, for a guided measurement, one piece of advice per poor choice, with the published range and
    source."""
    advice = []
    for fault in _faults(case, choices, untapped_is_silent=True):
        if fault.choice == "not_tapped":
            text = "Head not tapped: it may be on its silent side, and then nothing can be heard."
            advice.append({"row": fault.row, "text": text, "source": ""})
            continue
        named = _named(fault, 0.0, 0.0, 0.0, silent=False)
        unseen = " (not checked against the printed text)" if named.provenance == "FROM MEMORY" else ""
        advice.append({"row": fault.row, "text": named.advice, "source": named.source + unseen})
    return advice


def _rows(case: Case) -> list[tuple[str, str, str, list[tuple[str, str]]]]:
    """Return (row id, what is asked, right choice, [(choice id, words)]) in the order of the checklist."""
    cuffs = [
        (size.id, f"{size.label}, bladder {size.bladder_width_cm:.0f} x {size.bladder_length_cm:.0f} cm")
        for size in cuff_sizes()
    ]
    drop = case.arm_offset_cm
    return [
        (
            "asking",
            "Before you begin",
            "asked",
            [
                ("asked", "Ask about coffee, smoking, exercise and the bladder, and act on the answer"),
                ("not_asked", "Begin straight away"),
            ],
        ),
        (
            "cuff",
            f"Cuff for an upper arm of {case.person.arm_cm:.0f} cm",
            cuff_for(case.person.arm_cm).id,
            cuffs,
        ),
        (
            "rest",
            "Rest",
            "five_quiet",
            [
                ("at_once", "Measure at once"),
                ("one_minute", "One minute's rest"),
                ("five_quiet", "Five minutes' rest, nobody talks"),
                ("five_chatting", "Five minutes' rest, chatting on through the measurement"),
            ],
        ),
        (
            "posture",
            "Seat",
            "supported",
            [
                ("supported", "Back against the chair, feet flat, legs uncrossed"),
                ("legs_crossed", "Back against the chair, legs crossed at the knee"),
                ("back_unsupported", "On a stool, feet flat"),
            ],
        ),
        (
            "arm",
            "Arm",
            "desk",
            [
                ("desk", "Resting on the desk, middle of the cuff level with mid-breastbone"),
                ("held_out", "Held out at the level of the heart, nothing under it"),
                ("lap", "Hand in the lap"),
                ("side", "Hanging at the side"),
                ("below", f"On a low table, middle of the cuff {drop:.0f} cm below mid-breastbone"),
                ("above", f"On a high shelf, middle of the cuff {drop:.0f} cm above mid-breastbone"),
            ],
        ),
        (
            "marker",
            "Marker of the cuff",
            "felt",
            [
                ("felt", "Feel for the artery, lay the marker over it"),
                ("outer", "Lay the marker on the outer side of the arm"),
                ("unfelt", "Wrap the cuff without feeling for the artery"),
            ],
        ),
        (
            "snug",
            "Fit of the cuff",
            "two_fingertips",
            [
                ("two_fingertips", "Two fingertips fit under the edge"),
                ("loose", "A whole hand fits under the edge"),
                ("tight", "No fingertip fits under the edge"),
            ],
        ),
        (
            "head",
            "Stethoscope head",
            "over_artery",
            [
                ("over_artery", "Over the artery, below the edge of the cuff"),
                ("under_edge", "Tucked under the edge of the cuff"),
                ("beside", "In the middle of the crease, beside the artery"),
            ],
        ),
        (
            "ears",
            "Stethoscope",
            "tapped_live",
            [
                ("tapped_live", "Wiped, earpieces forward; you tap the head and hear it"),
                ("tapped_silent", "Wiped, earpieces forward; you tap the head and hear nothing"),
                ("not_tapped", "Wiped, earpieces forward; head not tapped"),
                ("backward", "Wiped, earpieces pointing backward; you tap the head and hear it faintly"),
                ("not_wiped", "Earpieces forward, not wiped; you tap the head and hear it"),
            ],
        ),
    ]


_PLAIN_FAULTS: dict[tuple[str, str], tuple[str, str | None]] = {
    ("rest", "at_once"): ("Measured without rest", "no_rest"),
    ("rest", "one_minute"): ("Rested for one minute, five are asked", "no_rest"),
    ("rest", "five_chatting"): ("Talking through rest and measurement", "talking"),
    ("posture", "legs_crossed"): ("Legs crossed at the knee", "legs_crossed"),
    ("posture", "back_unsupported"): ("Back unsupported", "back_unsupported"),
    ("arm", "held_out"): ("Arm held out, nothing under it", "arm_unsupported"),
    ("arm", "lap"): ("Arm in the lap", "arm_in_lap"),
    ("arm", "side"): ("Arm hanging at the side", "arm_at_side"),
    ("snug", "loose"): ("Cuff loose", "loose_cuff"),
    ("snug", "tight"): ("Cuff so tight that no fingertip fits", None),
    ("head", "under_edge"): ("Head tucked under the edge of the cuff", "head_under_edge"),
    ("head", "beside"): ("Head beside the artery", "head_beside"),
    ("ears", "tapped_silent"): ("Head on its silent side", "dead_side"),
    ("ears", "backward"): ("Earpieces pointing backward", "earpieces_backward"),
    ("ears", "not_wiped"): ("Earpieces and diaphragm not wiped; they pass on what they carry", None),
}
"""Faults that are the same for every case: (row, choice) to words and table row."""


def _faults(case: Case, choices: Mapping[str, str], *, untapped_is_silent: bool) -> list[_Fault]:
    """Return the faults in these choices, in the order of the rows."""
    faults: list[_Fault] = []
    for row in ROW_IDS:  # the order of the mapping must not matter: the draws follow this one
        choice = choices[row]
        if (row, choice) in _PLAIN_FAULTS:
            words, effect = _PLAIN_FAULTS[row, choice]
            share = math.exp(-SHORT_REST_S / SETTLING_TAU_S) if choice == "one_minute" else 1.0
            faults.append(_Fault(row, choice, words, effect, share, settles=effect == "no_rest"))
        elif row == "asking" and choice == "not_asked":
            faults += _asking_faults(case)
        elif row == "cuff":
            faults += _cuff_fault(case, choice)
        elif row == "arm" and choice in ("below", "above"):
            height = case.arm_offset_cm * (1 if choice == "above" else -1)
            words = f"Cuff {case.arm_offset_cm:.0f} cm {choice} the heart"
            faults.append(_Fault(row, choice, words, height_cm=height))
        elif row == "marker" and choice != "felt":
            small = any(one.effect in ("cuff_one_too_small", "cuff_two_too_small") for one in faults)
            words = "Marker not laid over the artery"
            faults.append(_Fault(row, choice, words, "marker_off" if small else None))
        elif row == "ears" and choice == "not_tapped":
            if untapped_is_silent:
                faults.append(_Fault(row, choice, "Head not tapped, and on its silent side", "dead_side"))
            else:
                words = "Head not tapped; it happened to be on its live side"
                faults.append(_Fault(row, choice, words))
    return faults


def _asking_faults(case: Case) -> list[_Fault]:
    """Return what asking would have brought out."""
    found = []
    if case.full_bladder:
        found.append(("Bladder not asked about, and it was full", "full_bladder"))
    if case.coffee:
        found.append(("Coffee not asked about, and there had been one", "caffeine"))
    if not found:
        return [_Fault("asking", "not_asked", "Coffee, smoking, exercise and bladder not asked about")]
    return [_Fault("asking", "not_asked", words, effect) for words, effect in found]


def _cuff_fault(case: Case, chosen: str) -> list[_Fault]:
    """Return the fault of a cuff that does not fit, if it does not."""
    labels = {size.id: size.label for size in cuff_sizes()}
    order, right = list(labels), cuff_for(case.person.arm_cm).id
    off = order.index(chosen) - order.index(right)
    if not off:
        return []
    words = f"{labels[chosen].capitalize()} cuff on an arm of {case.person.arm_cm:.0f} cm, {labels[right]} fits"
    effect = "cuff_too_large" if off > 0 else "cuff_one_too_small" if off == -1 else "cuff_two_too_small"
    return [_Fault("cuff", chosen, words, effect)]


def _drawn(fault: _Fault, rng: np.random.Generator) -> NamedEffect:
    """Return the fault with its size drawn uniformly from its range."""
    if fault.effect is None:
        # cuff below the heart reads high, above it low
        mmhg = -fault.height_cm * HYDROSTATIC_MMHG_PER_CM
        return _named(fault, mmhg, mmhg, 0.0, silent=False)
    effect = technique_effects()[fault.effect]
    return _named(
        fault,
        float(rng.uniform(*effect.systolic_mmhg)) * fault.share,
        float(rng.uniform(*effect.diastolic_mmhg)) * fault.share,
        float(rng.uniform(*effect.level_db)),
        silent=effect.silent,
    )


def _named(fault: _Fault, systolic: float, diastolic: float, level_db: float, *, silent: bool) -> NamedEffect:
    published, source, provenance = NOTHING_PUBLISHED, "", "FROM MEMORY"
    if fault.height_cm:
        published = f"By hydrostatics {HYDROSTATIC_MMHG_PER_CM} mmHg per cm"
        source, provenance = "derived, blood of 1.055 g/mL", "DERIVED"
    elif fault.effect is not None:
        effect = technique_effects()[fault.effect]
        source, provenance = effect.source, effect.provenance
        published = _published(effect.systolic_mmhg, effect.diastolic_mmhg, effect.level_db, silent=effect.silent)
        if provenance == "FROM MEMORY" and not effect.silent and "invented" in source:
            published = published.replace("Published", "Taken here as")
    return NamedEffect(
        row=fault.row,
        choice=fault.choice,
        fault=fault.words,
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        level_db=level_db,
        silent=silent,
        published=published,
        source=source,
        provenance=provenance,
        share=fault.share,
    )


def _held(shares: list[tuple[float, float]]) -> NamedEffect:
    """Return the line that says the sum was held inside the review's furthest effects."""
    (systolic, systolic_held), (diastolic, diastolic_held) = shares
    return NamedEffect(
        row="together",
        choice="",
        fault="These faults together were held back",
        systolic_mmhg=systolic_held - systolic,
        diastolic_mmhg=diastolic_held - diastolic,
        level_db=0.0,
        silent=False,
        published=(
            f"Furthest in the whole review: {_range(SYSTOLIC_EXTREMES_MMHG)} on systolic, "
            f"{_range(DIASTOLIC_EXTREMES_MMHG)} on diastolic"
        ),
        source="Kallioinen 2017, abstract",
        provenance="SEEN",
    )


def _published(
    systolic: tuple[float, float], diastolic: tuple[float, float], level: tuple[float, float], *, silent: bool
) -> str:
    if silent:
        return "No sound comes through"
    if any(level):
        return f"Published: {abs(level[1]):g} to {abs(level[0]):g} dB fainter"
    parts = [
        f"{_range(pair)} on {end}" if any(pair) else f"no effect on {end}"
        for pair, end in ((systolic, "systolic"), (diastolic, "diastolic"))
    ]
    return f"Published: {', '.join(parts)}"


def _range(pair: tuple[float, float]) -> str:
    low, high = pair
    return f"{low:+g}" if low == high else f"{low:+g} to {high:+g}"


def _signed(mmhg: float) -> str:
    whole = math.floor(abs(mmhg) + 0.5)
    return f"{whole if mmhg > 0 else -whole:+d}" if whole else "0"
