"""Evidence and decisions: the lecturer's alone."""

from __future__ import annotations

from datetime import date
from typing import Any

from starlette.applications import Starlette

from evidence_scenes import signing
from hushpoint.desk import decisions
from hushpoint.guideline.tables import package_text
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, lecturers, opened_to

OWN_RULES = (
    package_text("competence_rules.csv").splitlines()[0]
    + "\nCOLLEGE_2026,College rule,2026-02-01,learner and lecturer,within 4: 90 %; within 8: 100 %,20,each,3,6,"
    "staff meeting,CHOICE,agreed by two assessors\n"
)
UNIT = (
    "criterion,text,evidence,least,setting,source,unit,title\n"
    "1.1,measures three clients,clients,3,any,unit,INVENTED1 R1,Measure resting blood pressure\n"
    "1.2,twenty pairs,pairs,20,any,unit,INVENTED1 R1,Measure resting blood pressure\n"
    "2.1,works with care,lecturer,1,any,unit,INVENTED1 R1,Measure resting blood pressure\n"
)
SIGNED = {
    "rule": "OBRIEN_90_95", "decision": "not_yet", "reasons": "more pairs", "assessor": "L. Okafor", "ref": "e1",
    "basis": "pairs", "variety": "high", "setting": "live", "noise": "quiet", "place": "room 4", "adjustment": "",
    "credential": "", "second_assessor": "", "second_says": "", "signed_on": "2026-01-10", "feedback_on": "",
    "retain_months": "24", "identity_checked": "yes", "learner_declares": "",
}  # fmt: skip
AMENDED = {"row": "{decision}", "name": "noise", "new": "loud", "by": "L. Okafor", "why": "slip", "ref": "e2"}
APPEALED = {"row": "{decision}", "by": "learner", "grounds": "gauge", "outcome": "open", "ref": "e3"}
FORMS: dict[str, dict[str, str]] = {
    "/evidence/rules": {"text": OWN_RULES, "adopt": "yes"},
    "/evidence/units": {"text": UNIT, "adopt": "yes"},
    "/evidence/{code}/{who}/sign": SIGNED,
    "/evidence/{code}/{who}/amend": AMENDED,
    "/evidence/{code}/{who}/appeal": APPEALED,
}

READ: dict[tuple[str, str], Asked] = {
    ("GET", "/evidence"): lecturers(200),
    ("GET", "/evidence/rules"): lecturers(200),
    ("GET", "/evidence/units"): lecturers(200),
    ("GET", "/evidence/{code}"): lecturers(200),
    ("GET", "/evidence/{code}/{who}"): lecturers(200),
    ("GET", "/evidence/{code}/{who}/feedback"): lecturers(200),
    ("GET", "/evidence/{code}/{who}/feedback.pdf"): lecturers(200),
    ("GET", "/evidence/{code}/{who}/curve.svg"): lecturers(404),
    ("GET", "/evidence/{code}/{who}/bundle.zip"): lecturers(200),
    ("GET", "/evidence/check"): lecturers(200),
    ("POST", "/evidence/check"): lecturers(200, files={"file": ("bundle.zip", b"no bundle", "application/zip")}),
}
TABLE: dict[tuple[str, str], Asked] = {
    **opened_to("auditor", READ),
    ("POST", "/evidence/rules"): lecturers(303, data=FORMS["/evidence/rules"]),
    ("POST", "/evidence/units"): lecturers(303, data=FORMS["/evidence/units"]),
    ("POST", "/evidence/{code}/{who}/sign"): lecturers(303, data=SIGNED),
    ("POST", "/evidence/{code}/{who}/amend"): lecturers(303, data=AMENDED),
    ("POST", "/evidence/{code}/{who}/appeal"): lecturers(303, data=APPEALED),
}


def furnish(_app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """A decision that can be amended and appealed."""
    told = signing(decision="not_yet", reasons="more pairs", ref="furnished", signed_on="2026-01-09")
    found = decisions.sign(ledger, room=words["code"], learner=words["who"], signing=told, today=date(2026, 1, 9))
    words["decision"] = str(found.row)
