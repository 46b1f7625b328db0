"""What a policy says of a visit, told in German: no English is left between its words."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pypdf
import pytest

from hushpoint.desk.visit_sheets import SHEETS, Sheet, sheet_values, visit_pdf
from hushpoint.guideline.clinical_policies import clinical_policies
from hushpoint.visit import Client, Judged, Visit
from hushpoint.words import reader
from visit_cases import LATER, START, judged, readings

GERMAN = reader("de")
ENGLISH = re.compile(
    r"\b(the|and|of|on|is|are|not|no|within|with|reading|readings|arm is|arms|above|below|before|after|while|until|at|"
    r"least|one|more|first|last|mean|year|month|week|day|today|doctor|pressure|pulse|gauge|cuff|covers|test|only|where|"
    r"step|limit|low|high|other|to|from|for|by|a|it|this|that|told|asked|left|right|certainty|take)\b"
)
OLD = Client(
    age=68, arm_cm=36, barred_arms=("left",), known_disease=("renal", "diabetes_2"), exercises_regularly=False,
    first_visit=True, barred_reasons=(("left", "fistula"),),
)  # fmt: skip
VISITS: dict[str, dict[str, object]] = {
    "5": {"text": "178/104 164/98 162/96"},
    "6": {"text": "L170/100 134/82 130/80 128/80", "client": OLD, "symptoms": (), "intended": "test"},
    "7": {"text": "120/76", "client": Client(arm_cm=36), "cuff": "adult, bladder 13x23"},
    "7b": {"text": "120/76 118/76 118/74", "client": Client(arm_cm=36), "cuff": "16x30"},
    "8": {"text": "138/84 150/78 144/82", "regular": False, "client": Client(age=68)},
    "crisis": {"text": "192/122 190/121 188/120", "symptoms": ("breathless",)},
    "call": {"text": "120/76", "symptoms": ("chest_pain", "new_confusion")},
    "waiting": {"text": "124/78 122/78", "now": START + timedelta(seconds=70)},
    "fast": {"text": "124/78 122/78 120/78", "per_min": 112.0},
    "low": {"text": "88/50 86/50 86/52", "client": Client(age=15, medicines=("A",)), "position": "supine"},
    "unheard": {"text": "150/? 124/78 122/78"},
    "no consent": {"text": "124/78", "consent": False},
}


def sayings(found: Judged) -> list[str]:
    """Every sentence a page or sheet shows of a judged visit."""
    doubts = found.value.doubts if found.value else ()
    how = [found.value.how] if found.value else []
    action = found.action
    to = [action.to] if hasattr(action, "to") else []
    return [found.next.why, action.when, *to, *action.reasons, *found.cautions, *doubts, *how, found.category or ""]


@pytest.mark.parametrize("name", VISITS)
def test_nothing_of_a_verdict_is_left_in_english(name: str) -> None:
    """Next step, verdict, reasons, doubts and cautions under each policy; codes and typed words aside."""
    left = set()
    for policy in clinical_policies():
        for text in sayings(judged(policy=policy, **VISITS[name])):  # type: ignore[arg-type]
            said = GERMAN.ours(text)
            if ENGLISH.search(said):
                left.add(f"{text}\n   {said}")
    assert not left, "\n".join(sorted(left))


@pytest.mark.parametrize("kind", SHEETS)
def test_sheets_are_filled_in_german(kind: Sheet) -> None:
    """The values of a sheet: days, decimals, short words and kPa beside each reading where it was chosen."""
    found = judged("178/104 164/98 162/96", "NHFA_2016", client=Client(known_disease=("renal",)), intended="test")
    visit = Visit(readings("178/104 164/98 162/96"), client=Client(known_disease=("renal",)), intended="test")
    values = GERMAN.shown(sheet_values(visit, found, made_at=LATER, to=GERMAN, unit="kPa"))
    assert values["date"] == "02.03.2026"
    assert values["made"] == "03.03.2026, 09:30"
    assert values["value"]["kpa"] == "21,7/12,9"
    assert values["readings"][0] == ["1", "09:30", "rechts", "178 (23,7 kPa)", "104 (13,9 kPa)", ""]
    assert values["effort"] == "ein Fitnesstest"
    assert values["disease"] == "Niere"
    made = visit_pdf(kind, visit, found, made_at=LATER, to=GERMAN)
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(made)).pages)
    assert [line for line in text.split("\n") if ENGLISH.search(line)] == []
    assert "keine Diagnose" in " ".join(text.split())
