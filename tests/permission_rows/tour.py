"""The tour of the invented college; anywhere else there is none."""

from __future__ import annotations

from permission_rows.rows import Asked, anyone

TABLE: dict[tuple[str, str], Asked] = {("POST", "/tour"): anyone(404, data={"to": "1"})}
FORMS: dict[str, dict[str, str]] = {"/tour": {"to": "1"}}
