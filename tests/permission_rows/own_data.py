"""A learner's own data, and the lecturer's list of those who practise alone."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import classes
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, learners, lecturers

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/practise/my-data"): learners(200, 303),
    # learners of a class ask their lecturer; who practises alone is tested apart
    ("POST", "/practise/my-data/erase"): Asked((403,) * 5, {"data": {"sure": "yes"}}),
    ("GET", "/class/alone"): lecturers(200),
}
LAST: dict[tuple[str, str], Asked] = {
    ("POST", "/class/alone/{lone}/erase"): lecturers(303, data={"sure": "yes"}),
}
FORMS: dict[str, dict[str, str]] = {
    "/practise/my-data/erase": {"sure": ""},
    "/class/alone/{lone}/erase": {"sure": ""},
    "/class/{code}/devices": {"who": "nobody"},
}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """Somebody who practises alone."""
    words["lone"] = classes.join_alone(ledger)
