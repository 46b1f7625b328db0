"""The sheets of a visit: what the client takes home, the letter to a doctor, the record for the file; CSV of readings.

A sheet holds codes, never a name: names are written on it by hand. None of them diagnoses or reassures.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import datetime
from typing import Any, Literal

from hushpoint.desk.csv_file import plain_cell
from hushpoint.desk.printed import printed
from hushpoint.errors import BadInputError
from hushpoint.measure.shown import kilopascals, whole_mmhg
from hushpoint.visit import Judged, MarkedReading, Refer, Visit
from hushpoint.visit.gates import words
from hushpoint.visit.sureness import ASSUMED, mean_arterial_mmhg, sureness
from hushpoint.words import ENGLISH, Reader, reader

Sheet = Literal["client", "letter", "record"]
SHEETS: tuple[Sheet, ...] = ("client", "letter", "record")
_MARKS = {
    "early": "sooner than the policy's gap",
    "out_of_order": "entered after a later one",
    "over_cap": "over the cap, not counted",
    "barred_arm": "barred arm, not counted",
    "not_heard": "not heard, not counted",
    "not_judged": "not judged",
}
_EFFORT = {None: "not told", "test": "a fitness test", "light": "light", "moderate": "moderate", "vigorous": "vigorous"}
QUESTION = "Are there any limits to the activity planned, as described above?"


def kpa(mmhg: float) -> str:
    """Write a pressure in kPa with one decimal."""
    return f"{kilopascals(mmhg):.1f}"


def chance_words(chance: float) -> str:
    """Write a chance in whole per cent, never as certain."""
    return "under 1 %" if chance < 0.01 else "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def sheet_values(
    visit: Visit,
    judged: Judged,
    *,
    made_at: datetime,
    invented: bool = False,
    to: Reader | None = None,
    unit: str = "mmHg",
) -> dict[str, Any]:
    """Return what the layouts of every sheet show `to` a reader (English where none is told), as JSON.

    `made_at` (with a zone) is when it was printed; with `unit` kPa every reading stands in kPa too.
    """
    say = (to or reader(ENGLISH)).ours
    value, action, step = judged.value, judged.action, judged.step
    times = [each.reading.at for each in judged.readings if each.reading.at is not None]
    return {
        "code": visit.client.code or "",
        "date": (min(times) if times else made_at).strftime("%d %B %Y"),
        "dated": bool(times),
        "made": made_at.strftime("%d %B %Y, %H:%M"),
        "invented": invented,
        "policy": {"id": judged.policy.id, "name": judged.policy.name, "dated": judged.policy.dated},
        "readings": [_row(each, say, unit) for each in judged.readings],
        "value": None
        if value is None
        else {
            "text": f"{whole_mmhg(value.systolic_mmhg)}/{whole_mmhg(value.diastolic_mmhg)}",
            "kpa": f"{kpa(value.systolic_mmhg)}/{kpa(value.diastolic_mmhg)}",
            "mean_arterial": f"{mean_arterial_mmhg(value.systolic_mmhg, value.diastolic_mmhg):.0f}",
            "how": value.how,
            "complete": value.complete,
            "doubts": list(value.doubts),
        },
        "category": say(judged.category or ""),
        "form": say(judged.form or ""),
        "also": [f"{scheme} {say(name)}" for scheme, name in judged.also],
        "verdict": say(action.word),
        "when": say(action.when),
        "to": say(action.to) if isinstance(action, Refer) else "",
        "advice": say(_advice(judged)),
        "reasons": list(action.reasons),
        "limits": "" if step is None else f"{step.limits} ({judged.policy.id}, {step.words()}; {step.source})",
        "arm_cm": "" if visit.client.arm_cm is None else f"{visit.client.arm_cm:g}",
        "age": "" if visit.client.age is None else f"{visit.client.age:g}",
        "cuff": visit.cuff or say("not told"),
        "gauge": visit.gauge or say("not told"),
        "performer": visit.performer or "",
        "position": say(visit.position or "not told"),
        "pulse": _pulse(visit, say),
        "symptoms": _told(visit.symptoms, say),
        "disease": _told(visit.client.known_disease, say),
        "medicines": ", ".join(visit.client.medicines) or say("none told"),
        "effort": say(_EFFORT[visit.intended]),
        "barred": ", ".join(say(arm) for arm in visit.client.barred_arms),
        "consent": say({None: "not told", True: "given", False: "not given"}[visit.consent]),
        "next": judged.next.why,
        "cautions": list(judged.cautions),
        "question": QUESTION,
        "usual": _usual(judged, say),
    }


def visit_pdf(
    kind: Sheet,
    visit: Visit,
    judged: Judged,
    *,
    made_at: datetime,
    invented: bool = False,
    to: Reader | None = None,
    unit: str = "mmHg",
) -> bytes:
    """Return a sheet as PDF in the language and unit of who reads it; the letter needs a verdict to refer or repeat.

    Raises BadInputError.
    """
    if kind == "letter" and judged.action.word not in {"refer", "repeat"}:
        raise BadInputError(f"letter: the policy says {judged.action.word}; a letter goes with refer or repeat")
    values = sheet_values(visit, judged, made_at=made_at, invented=invented, to=to, unit=unit)
    return printed(f"visit_{kind}", values, to=to, made_at=made_at)


def visit_csv(visit: Visit, judged: Judged) -> str:
    """Return the readings as CSV, one row each, as kept; the code is left to the file's name."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("number", "at", "arm", "systolic", "diastolic", "counted", "marks", "cuff", "gauge", "policy"))
    for each in judged.readings:
        reading = each.reading
        writer.writerow(
            (
                each.number,
                reading.at.isoformat() if reading.at else "",
                reading.arm or "",
                _end(reading.systolic_mmhg, ""),
                _end(reading.diastolic_mmhg, ""),
                "yes" if each.counted else "no",
                " ".join(each.marks),
                plain_cell(visit.cuff or ""),
                plain_cell(visit.gauge or ""),
                judged.policy.id,
            )
        )
    return out.getvalue()


def _end(mmhg: float | None, missing: str = "not heard") -> str:
    return missing if mmhg is None else f"{mmhg:g}"


def _in_kpa(mmhg: float | None, unit: str) -> str:
    return "" if mmhg is None or unit != "kPa" else f" ({kpa(mmhg)} kPa)"


def _row(each: MarkedReading, say: Callable[[str], str], unit: str) -> list[str]:
    reading = each.reading
    at = reading.at.strftime("%H:%M") if reading.at else ""
    marks = "; ".join(say(_MARKS[mark]) for mark in each.marks)
    ends = (say(_end(mmhg)) + _in_kpa(mmhg, unit) for mmhg in (reading.systolic_mmhg, reading.diastolic_mmhg))
    return [str(each.number), at, say(reading.arm or ""), *ends, marks]


def _told(codes: tuple[str, ...] | None, say: Callable[[str], str]) -> str:
    return say("not asked") if codes is None else ", ".join(say(words((one,))) for one in codes) or say("none told")


def _pulse(visit: Visit, say: Callable[[str], str]) -> str:
    rate = "" if visit.pulse.per_min is None else f"{say(f'{visit.pulse.per_min:g} a minute')}, "
    return rate + say({None: "regularity not told", True: "regular", False: "irregular"}[visit.pulse.regular])


def _advice(judged: Judged) -> str:
    """The next step as the client's own page says it: what to do and by when, never what they have."""
    action = judged.action
    if action.word == "emergency":
        return "Call the emergency service now, and stay with somebody."
    if action.word == "refer":
        to = action.to if isinstance(action, Refer) else "a doctor"
        return f"Please ask {to}, {action.when}. Take this page with you."
    if action.word == "repeat":
        return f"Please have it measured again: {action.when}."
    return f"Under this policy the plan goes ahead: {action.when}."


def _usual(judged: Judged, say: Callable[[str], str]) -> dict[str, Any] | None:
    value = judged.value
    if value is None or not value.complete:
        return None
    ends = sureness((value.systolic_mmhg, value.diastolic_mmhg), len(value.used), judged.policy.scheme)
    return {
        "rows": [
            [
                say(each.end),
                f"{each.usual.mean_mmhg:.0f}",
                say("{:.0f} to {:.0f}".format(*each.usual.range_mmhg())),
                "; ".join(say(f"above {edge:g}: {chance_words(chance)}") for _, edge, chance in each.above),
                f"{each.usual.sd_mmhg:.1f}",
                f"{each.sd_one_more_mmhg:.1f}",
                f"{each.sd_second_visit_mmhg:.1f}",
            ]
            for each in ends
        ],
        "assumed": "; ".join(f"{say(what)} ({say(mark.lower())})" for what, _, mark in ASSUMED),
    }


def visit_fhir(visit: Visit, judged: Judged, *, made_at: datetime) -> str:
    """Return the visit as a FHIR R4B Bundle, JSON text; the client is a code."""
    from hushpoint.sheet.fhir import bundle_json

    value = judged.value
    times = [each.reading.at for each in judged.readings if each.reading.at is not None]
    readings = [
        {
            "at": each.reading.at.isoformat(timespec="seconds") if each.reading.at else None,
            "arm": each.reading.arm,
            "systolic": each.reading.systolic_mmhg,
            "diastolic": each.reading.diastolic_mmhg,
            "marks": list(each.marks),
        }
        for each in judged.readings
    ]
    mean = None
    if value is not None and value.complete:
        mean = {
            "at": max(times).isoformat(timespec="seconds") if times else None,
            "arm": value.arm,
            "systolic": value.systolic_mmhg,
            "diastolic": value.diastolic_mmhg,
            "how": value.how,
        }
    about = {
        "code": visit.client.code or "",
        "performer": visit.performer or "",
        "cuff": visit.cuff or "",
        "gauge": visit.gauge or "",
        "position": visit.position or "",
        "made": made_at.isoformat(timespec="seconds"),
    }
    return bundle_json(readings, mean, about)
