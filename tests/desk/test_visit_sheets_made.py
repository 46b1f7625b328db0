"""The sheets of a visit: what they say, what they never say, and the bundle as FHIR has it."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime
from typing import Any

import pypdf
import pytest
from fhir.resources.R4B.bundle import Bundle

from hushpoint.desk.visit_sheets import SHEETS, Sheet, visit_csv, visit_fhir, visit_pdf
from hushpoint.errors import BadInputError
from hushpoint.guideline.clinical_policies import clinical_policies, clinical_policy
from hushpoint.visit import Client, Judged, Pulse, Visit, judge_visit
from visit_cases import LATER, readings

MADE = datetime(2026, 3, 2, 12, tzinfo=UTC)
NEVER = (
    "you have hypertension", "have hypertension", "you're fine", "you are fine", "cleared", "safe to",
    "nothing to worry", "patient", "diagnosed", "healthy", "take your medicine", "risk of",
)  # fmt: skip
"""What no sheet says (words of facts/job 5 and of the house)."""
ARMS = ("178/104 164/98 162/96", "118/76 122/78 120/74", "138/84 150/78 144/82", "190/124 188/120", "?/80 130/?")


def visit(text: str, **more: Any) -> Visit:
    """A visit of an invented client, a minute between readings."""
    client = Client(code="K17", age=54, arm_cm=36, known_disease=(), medicines=("invented tablet",))
    told = {"consent": True, "cuff": "16x36", "gauge": "G4", "position": "sitting", "intended": "test", "symptoms": ()}
    return Visit(readings(text), client=client, performer="assessor", pulse=Pulse(76, True), **{**told, **more})


def judged(one: Visit, policy: str = "NHFA_2016") -> Judged:
    """The verdict long after the last reading."""
    return judge_visit(one, clinical_policy(policy), LATER)


def words(data: bytes) -> str:
    """The text of a PDF in one line."""
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages).split())


@pytest.mark.parametrize("kind", SHEETS)
@pytest.mark.parametrize("text", ARMS)
def test_every_sheet_carries_cautions_and_never_diagnoses(kind: Sheet, text: str) -> None:
    """Whatever the pressure, the caution is on it, and none of the words that may not be."""
    one = visit(text)
    verdict = judged(one)
    if kind == "letter" and verdict.action.word not in {"refer", "repeat"}:
        with pytest.raises(BadInputError, match="a letter goes with"):
            visit_pdf(kind, one, verdict, made_at=MADE)
        return
    said = words(visit_pdf(kind, one, verdict, made_at=MADE))
    assert "Caution" in said
    assert "diagnosis" in said or kind == "client"
    assert [word for word in NEVER if word in said.lower()] == []


@pytest.mark.parametrize("policy", list(clinical_policies()))
def test_every_policys_own_words_stay_clear_of_diagnosis_on_the_clients_page(policy: str) -> None:
    """Category names and reasons of every policy, at a high pressure, hold none of the words."""
    one = visit("190/104 184/102 182/106")
    said = words(visit_pdf("client", one, judged(one, policy), made_at=MADE)).lower()
    assert [word for word in NEVER if word in said] == []


def test_the_clients_page_of_scene_five() -> None:
    """163/97 today, resting; every reading; a doctor within a month; the range of days; emergency symptoms."""
    one = visit("178/104 164/98 162/96")
    said = words(visit_pdf("client", one, judged(one), made_at=MADE))
    for needed in ("163/97", "today, resting", "178", "within 1 month", "7 mmHg", "NHFA 2016", "Chest pain", "private"):
        assert needed in said


def test_the_letter_asks_one_question_and_has_a_reply_box() -> None:
    """Readings, mean, protocol, posture, arm, cuff, gauge, pulse, medicines, what is withheld, one question."""
    one = visit("178/104 164/98 162/96")
    said = words(visit_pdf("letter", one, judged(one), made_at=MADE))
    for needed in ("163/97", "sitting", "16x36", "G4", "76 a minute, regular", "invented tablet", "no test", "Reply"):
        assert needed in said
    assert said.count("?") == 1


def test_the_record_shows_what_one_visit_can_tell() -> None:
    """The chance at each edge is on the record, with what is assumed, beside the rule."""
    one = visit("178/104 164/98 162/96")
    said = words(visit_pdf("record", one, judged(one), made_at=MADE))
    assert "never in its place" in said
    assert "from memory" in said


def test_the_same_visit_gives_the_same_bytes() -> None:
    """A sheet can be made again two years later."""
    one = visit("118/76 122/78 120/74")
    assert visit_pdf("record", one, judged(one), made_at=MADE) == visit_pdf("record", one, judged(one), made_at=MADE)


def panels(text: str, **more: Any) -> list[dict[str, Any]]:
    """The observations of a visit's bundle."""
    one = visit(text, **more)
    bundle = json.loads(visit_fhir(one, judged(one), made_at=MADE))
    Bundle.model_validate(bundle)
    return [
        entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == "Observation"
    ]  # fmt: skip


def test_the_bundle_keeps_the_blood_pressure_profile() -> None:
    """Every panel: vital-signs, 85354-9, subject, time, exactly one systolic and one diastolic in mm[Hg] of UCUM."""
    for panel in panels("178/104 164/98 162/96"):
        assert panel["status"] == "final"
        assert panel["category"][0]["coding"][0]["code"] == "vital-signs"
        assert panel["code"]["coding"][0]["code"] == "85354-9"
        assert panel["subject"]["reference"].startswith("urn:uuid:")
        assert panel["effectiveDateTime"].endswith(("Z", "+00:00"))
        assert panel["bodySite"]["coding"][0]["code"] == "368209003"
        ends = [part for part in panel["component"] if part["code"]["coding"][0]["code"] in {"8480-6", "8462-4"}]
        assert len(ends) == 2
        for end in ends:
            quantity = end["valueQuantity"]
            assert (quantity["system"], quantity["code"]) == ("http://unitsofmeasure.org", "mm[Hg]")


def test_an_end_not_heard_has_an_absent_reason_and_no_value() -> None:
    """A missing sound is never a number."""
    first = panels("?/80 130/82")[0]
    systolic = first["component"][0]
    assert "valueQuantity" not in systolic
    assert systolic["dataAbsentReason"]["text"] == "no sound heard"


def test_the_value_is_one_more_panel_derived_from_the_readings() -> None:
    """Three readings and the value, which names how it was made."""
    found = panels("178/104 164/98 162/96")
    assert len(found) == 4
    assert len(found[-1]["derivedFrom"]) == 3
    assert found[-1]["component"][0]["valueQuantity"]["value"] == 163


def test_no_formula_in_the_csv() -> None:
    """A cuff named like a formula is text to a spreadsheet."""
    one = visit("118/76", cuff="=1+1")
    (row,) = csv.DictReader(io.StringIO(visit_csv(one, judged(one))))
    assert row["cuff"] == "'=1+1"
    assert (row["systolic"], row["diastolic"], row["policy"]) == ("118", "76", "NHFA_2016")
