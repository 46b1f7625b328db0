"""Oral questions: any learner's own."""

from __future__ import annotations

from permission_rows.rows import Asked, learners

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/practise/questions"): learners(200, 303),
    ("POST", "/practise/questions"): learners(200, 403, data={"number": "1", "choice": "0"}),
}
FORMS: dict[str, dict[str, str]] = {"/practise/questions": {"number": "1", "choice": "0"}}
"""What a form of this area sends, for the fuzzing of every field."""
