"""The lesson: the lecturer's screen."""

from __future__ import annotations

from permission_rows.rows import Asked, lecturers

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/class/{code}/lesson"): lecturers(200),
    ("GET", "/class/{code}/lesson/sound.wav"): lecturers(200, params={"question": "gap", "seed": "3"}),
}
