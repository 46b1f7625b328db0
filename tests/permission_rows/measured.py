"""Being measured: a learner's own answer and notes; the lecturer alone reads the notes."""

from __future__ import annotations

from permission_rows.rows import Asked, learners, lecturers

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/practise/measured"): learners(200, 303),
    ("POST", "/practise/measured"): learners(303, 403, data={"left": "yes"}),
    ("POST", "/practise/measured/withdraw"): learners(303, 403),
    ("POST", "/practise/measured/finding"): learners(200, 403, data={"systolic": "142", "wish": "talk"}),
    ("GET", "/class/{code}/findings"): lecturers(200),
    ("POST", "/class/{code}/findings"): lecturers(303, data={"plan": "Rest, then again in private."}),
}
FORMS: dict[str, dict[str, str]] = {
    "/practise/measured": {"left": "yes", "right": "yes"},
    "/practise/measured/withdraw": {},
    "/practise/measured/finding": {"systolic": "142", "diastolic": "88", "wish": "talk", "note": "twice"},
    "/class/{code}/findings": {"plan": "Rest, then again in private."},
}
"""What a form of this area sends, for the fuzzing of every field."""
