"""Recordings: the lecturer's alone."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from hushpoint.desk import recordings
from hushpoint.recording import wav_bytes
from permission_rows.rows import Asked, lecturers

SILENT = wav_bytes(np.zeros(800, np.float32), 8000)
PRESSURE = b"time_s,pressure_mmHg\n0,1\n1,2\n2,3\n"


def furnish(app: Any, ledger: Any, words: dict[str, Any]) -> None:
    """Take in a recording and keep it."""
    files = app.state.context.recordings
    words["recording"] = recordings.bring_in(files, "a.wav", io.BytesIO(SILENT), io.BytesIO(PRESSURE))
    words["form"] = "png"
    recordings.keep(ledger, files, words["recording"], label="K17")


TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/recordings"): lecturers(200),
    ("POST", "/recordings"): lecturers(303, files={"sound": ("a.wav", SILENT), "pressure": ("a.csv", PRESSURE)}),
    ("GET", "/recordings/agreement"): lecturers(200),
    ("GET", "/recordings/{recording}"): lecturers(200),
    ("GET", "/recordings/{recording}/picture.{form}"): lecturers(200),
    ("GET", "/recordings/{recording}/sound.wav"): lecturers(200),
    ("GET", "/recordings/{recording}/pressure.json"): lecturers(200),
    ("POST", "/recordings/{recording}/keep"): lecturers(409, data={"label": "K17"}),
    ("POST", "/recordings/{recording}/read"): lecturers(409),
    ("POST", "/recordings/{recording}/observed"): lecturers(
        303, data={"observer": "A", "systolic": "120", "diastolic": "80"}
    ),
    ("POST", "/recordings/{recording}/erase"): lecturers(303, data={"why": "asked", "sure": "yes"}),
}
