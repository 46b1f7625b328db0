"""What a judged visit says, as JSON: the object that the command prints, pages show and sheets are made from."""

from __future__ import annotations

from hushpoint.guideline.clinical_policies import ClinicalPolicy
from hushpoint.measure.shown import whole_mmhg
from hushpoint.visit import Judged, Refer, VisitValue, worked
from hushpoint.visit.sureness import ASSUMED, mean_arterial_mmhg, sureness

ROUNDING = "shown to the nearest whole mmHg, halves up; judged unrounded"


def as_object(judged: Judged) -> dict[str, object]:
    """Return the documented object of `hushpoint visit --json`."""
    value, edge, step = judged.value, judged.edge, judged.step
    scheme = judged.policy.scheme
    return {
        "next": {"do": judged.next.do, "why": judged.next.why, "seconds": judged.next.seconds},
        "value": None
        if value is None
        else {
            "systolic": whole_mmhg(value.systolic_mmhg),
            "diastolic": whole_mmhg(value.diastolic_mmhg),
            "how": value.how,
            "arm": value.arm,
            "unrounded": [round(value.systolic_mmhg, 6), round(value.diastolic_mmhg, 6)],
            "rounding": ROUNDING,
            "complete": value.complete,
            "doubts": list(value.doubts),
            "mean_arterial": round(mean_arterial_mmhg(value.systolic_mmhg, value.diastolic_mmhg), 2),
        },
        "category": None
        if judged.category is None
        else {
            "scheme": scheme.id,
            "name": judged.category,
            "form": judged.form,
            "nearest_edge": None
            if edge is None
            else {"end": edge.end, "at": edge.at_mmhg, "distance": round(edge.distance_mmhg, 6)},
            "source": scheme.source,
            "mark": scheme.provenance,
        },
        "also": [{"scheme": other, "name": name} for other, name in judged.also],
        "action": {
            "verdict": judged.action.word,
            "when": judged.action.when,
            "reasons": list(judged.action.reasons),
            "policy": judged.policy.id,
            "to": judged.action.to if isinstance(judged.action, Refer) else None,
            "limit": None
            if step is None
            else {
                "step": step.step,
                "systolic": step.systolic_mmhg,
                "diastolic": step.diastolic_mmhg,
                "reached": "above" if step.strict else "at or above",
                "limits": step.limits,
                "source": step.source,
                "mark": step.provenance,
            },
        },
        "readings": [
            {
                "number": each.number,
                "at": each.reading.at.isoformat() if each.reading.at else None,
                "arm": each.reading.arm,
                "systolic": each.reading.systolic_mmhg,
                "diastolic": each.reading.diastolic_mmhg,
                "counted": each.counted,
                "marks": list(each.marks),
            }
            for each in judged.readings
        ],
        "usual": None if value is None or not value.complete else _usual(judged, value),
        "worked": [each.as_json() for each in worked(judged)],
        "cautions": list(judged.cautions),
    }


def figures(policy: ClinicalPolicy) -> dict[str, object]:
    """What the page needs to name the next step while the server cannot be reached."""
    protocol, gravest = policy.protocol, policy.ladder[0]
    return {
        "id": policy.id,
        "name": policy.name,
        "rest_s": protocol.rest_s,
        "readings": protocol.readings,
        "step": protocol.step_mmhg,
        "interval_s": protocol.interval_s,
        "value": protocol.value,
        "compare": protocol.compare,
        "apart": protocol.apart_mmhg,
        "apart_strict": protocol.apart_strict,
        "extra_rest_s": protocol.extra_rest_s,
        "extra_most": protocol.extra_most,
        "cap": protocol.cap_per_arm,
        "irregular_least": protocol.irregular_least,
        "both_arms": protocol.both_arms_at_first,
        "arms_apart": protocol.arms_apart_mmhg,
        "standing_after_s": protocol.standing_after_s,
        "gravest": [gravest.systolic_mmhg, gravest.diastolic_mmhg, gravest.strict],
    }


def _usual(judged: Judged, value: VisitValue) -> dict[str, object]:
    """How sure: never in place of the policy's rule."""
    found = sureness((value.systolic_mmhg, value.diastolic_mmhg), len(value.used), judged.policy.scheme)
    return {
        **{
            each.end: {
                "middle": round(each.usual.mean_mmhg, 1),
                "sd": round(each.usual.sd_mmhg, 2),
                "range_90": [round(end, 1) for end in each.usual.range_mmhg()],
                "above": [{"band": name, "edge": edge, "chance": round(by, 3)} for name, edge, by in each.above],
                "sd_one_more_reading": round(each.sd_one_more_mmhg, 2),
                "sd_second_visit": round(each.sd_second_visit_mmhg, 2),
            }
            for each in found
        },
        "assumed": [{"what": what, "source": source, "mark": mark} for what, source, mark in ASSUMED],
    }
