"""Who may come in: the lecturer's page of passwords, and the auditor's link."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import access
from hushpoint.ledger.records import Ledger
from permission_rows.house import PASSWORD
from permission_rows.rows import Asked, anyone, lecturers

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/access"): lecturers(200),
    ("POST", "/access/audit-link"): lecturers(200, data={"days": "7"}),
    ("GET", "/audit/{link}"): anyone(303),
    ("GET", "/metrics"): lecturers(200),
}
LAST: dict[tuple[str, str], Asked] = {
    # a link ends with them
    ("POST", "/access/end-audit-links"): lecturers(303),
    ("POST", "/access/password"): lecturers(303, data={"role": "assessor", "password": "another good password"}),
    ("POST", "/access/sign-out-everywhere"): lecturers(303),
}
FORMS: dict[str, dict[str, str]] = {
    "/access/password": {"role": "assessor", "old": PASSWORD, "password": "another good password", "remove": ""},
    "/access/sign-out-everywhere": {},
    "/access/audit-link": {"days": "7"},
    "/access/end-audit-links": {},
}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """A link for an auditor."""
    word = access.session_word(ledger, access.AUDITOR)
    words["link"] = app.state.context.sign({"link": access.AUDITOR, "session": word, "until": "9999"})
