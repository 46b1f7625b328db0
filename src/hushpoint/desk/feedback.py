"""The talk after the test: one page, one fix. What to change first, why, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from hushpoint import __version__
from hushpoint.agreement import agree
from hushpoint.desk.evidence import REFERENCE, Evidence
from hushpoint.desk.judging import CLEARLY_ZERO
from hushpoint.desk.printed import printed
from hushpoint.guideline.technique_steps import TechniqueStep
from hushpoint.words import ENGLISH, Reader, reader

FEWEST = 5
"""Below so many pairs nothing is said of a bias (design choice)."""
CLEAR_BIAS_MMHG = 2.0
"""A mean difference of one mark of the gauge is worth a word (design choice)."""


@dataclass(frozen=True, slots=True)
class Fix:
    """One thing to change: what was seen, why it matters, what to do next."""

    title: str
    seen: str
    do: str


def feedback_pdf(
    shown: Evidence,
    *,
    name: str,
    class_name: str,
    today: date,
    made_at: datetime,
    invented: bool,
    to: Reader | None = None,
) -> bytes:
    """Return the page of the talk as PDF: what to change, why, what next, and room for what was agreed."""
    fix = one_fix(shown)
    say = (to or reader(ENGLISH)).ours
    values = {
        "name": name,
        "class": class_name,
        "today": today.isoformat(),
        "rule": f"{say(shown.rule.name)}: {say(shown.rule.text)}",
        "fix": {"title": say(fix.title), "seen": say(fix.seen), "do": say(fix.do)},
        "reasons": list(shown.reasons),
        "missing": shown.missing[0] if shown.missing else "",
        "version": __version__,
        "invented": invented,
    }
    return printed("feedback", values, to=to, made_at=made_at)


def one_fix(shown: Evidence) -> Fix:
    """Return the first thing to change: a critical step, a bias, a clear habit of the pen, spread, what is missing."""
    step = _step_missed(shown)
    if step is not None:
        return Fix(
            step.step, f"Step {step.number} was missed when you were watched. {step.why}.", "Show it once, slowly."
        )
    if len(shown.readings) >= 2 * FEWEST:
        found = agree(shown.readings, REFERENCE).pairs[0]
        for end, differences in found.ends():
            if abs(differences.bias_mmhg) >= CLEAR_BIAS_MMHG:
                return _bias(end, differences.bias_mmhg, differences.n)
    habit = next((one for one in shown.habits if CLEARLY_ZERO in one), "").partition(", ")[2]
    if habit:
        return Fix(
            "Review the reading habit",
            f"{habit[0].upper()}{habit[1:]}.",
            "Write the mark where the pointer stood at the tap, to the nearest 2, before looking at the number you "
            "expect. Then a set of pairs.",
        )
    if shown.found is not None:
        count = next((one for one in shown.found.counts if not one.met), None)
        if count is not None:
            return Fix(
                "Readings that stray",
                f"{count.end.capitalize()}: {count.found} of {count.n} within {count.within_mmhg} mmHg, {count.needed} "
                "are asked. On average you are close; single readings are not.",
                "Hold the release between 2 and 3 mmHg/s and write down at once; then a set of pairs.",
            )
    if shown.missing:
        return Fix("More evidence", f"{shown.missing[0][0].upper()}{shown.missing[0][1:]}.", "Fix a day for it now.")
    return Fix("Keep it", "Nothing stands out that needs changing first.", "A few readings every week keep the ear.")


def _step_missed(shown: Evidence) -> TechniqueStep | None:
    watched = next((one for one in shown.performances if one.sheets and one.begun_at >= shown.since), None)
    if watched is None:
        return None
    missed = [step for sheet in watched.sheets.values() for step in sheet.steps("missed")]
    return min(missed, key=lambda step: (not step.critical, step.number), default=None)


def _bias(end: str, bias_mmhg: float, n: int) -> Fix:
    way = "low" if bias_mmhg < 0 else "high"
    seen = f"Over {n} pairs you wrote {end} {abs(bias_mmhg):.1f} mmHg {way} on average, beside the reference."
    if end == "systolic":
        do = (
            "Pump 20 to 30 above the palpated pressure and wait for the first of two taps."
            if way == "low"
            else "Write the pressure of the first of two taps, not of the first swing of the pointer."
        )
    else:
        do = (
            "Write the pressure of the last sound, not of the silence after it."
            if way == "low"
            else "Listen on past the muffling: the last sound counts. Full contact of the head, off the cuff."
        )
    return Fix(f"{end.capitalize()} reads {way}", seen, do)
