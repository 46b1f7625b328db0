"""Clients: visits, sheets, referrals and clinical policies are the practitioner's alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import visits
from hushpoint.guideline.clinical_policies import clinical_policy
from hushpoint.guideline.own_policy import policy_text
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, lecturers, opened_to

OWN = policy_text(clinical_policy("NHFA_2016"), "OUR_COLLEGE").encode()
TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/client"): lecturers(200),
    ("POST", "/client/begin"): lecturers(303, data={"policy": "NHFA_2016", "code": ""}),
    ("GET", "/client/policy"): lecturers(200),
    ("POST", "/client/policy"): lecturers(200, files={"file": ("ours.csv", OWN)}),
    ("GET", "/client/policy/{policy}"): lecturers(200),
    ("POST", "/client/emergency-number"): lecturers(303, data={"number": "000"}),
    ("GET", "/client/{visit}"): lecturers(200),
    ("GET", "/client/{visit}/state"): lecturers(200),
    ("POST", "/client/{visit}/acts"): lecturers(200, json={"ref": "abcdefgh", "told": {"consent": True}}),
    ("POST", "/client/{visit}/close"): lecturers(303),
    ("GET", "/client/{visit}/record"): lecturers(200),
    ("GET", "/client/{visit}/sheets/{sheet}"): lecturers(200),
    ("POST", "/client/{visit}/reply"): lecturers(303, data={"reply": "no limits"}),
    ("GET", "/client/{visit}/export"): lecturers(200),
}
FORMS: dict[str, dict[str, str]] = {
    "/client/begin": {"policy": "NHFA_2016", "code": ""},
    "/client/policy": {},
    "/client/emergency-number": {"number": "000"},
    "/client/{visit}/close": {},
    "/client/{visit}/reply": {"reply": "no limits", "done": ""},
    "/client/{visit}/erase": {"why": "asked", "sure": ""},
}
"""What each form holds, for those who send nonsense in its place."""
BODIES: dict[str, dict[str, Any]] = {
    "/client/{visit}/acts": {
        "ref": "abcdefgh",
        "at": "2026-03-02T10:00:00Z",
        "told": {"consent": True, "client.arm_cm": 36, "client.barred_arms": ["left"], "steps": "consent"},
    }
}
TABLE = opened_to("practitioner", TABLE, close=409)
LAST: dict[tuple[str, str], Asked] = {
    # it takes the client away
    ("POST", "/client/{visit}/erase"): lecturers(303, data={"why": "asked", "sure": "yes"}),
}
LAST = opened_to("practitioner", LAST, erase=404)


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """A visit with three readings."""
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    for number, ends in enumerate(((178, 104), (164, 98), (162, 96))):
        reading = {"arm": "right", "systolic": ends[0], "diastolic": ends[1]}
        at = datetime.now(UTC) + timedelta(seconds=number)
        visits.act(ledger, visit, {"ref": f"reading-{number}", "reading": reading}, at)
    words |= {"visit": visit, "policy": "NHFA_2016", "sheet": "letter"}
