"""What is printed of the kit: labels whose pictures a decoder reads, certificates that hold every point."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import numpy as np
import pypdf
import pytest
import zxingcpp
from PIL import Image

from hushpoint.desk import kit, kit_sheets, kit_timed
from hushpoint.errors import BadInputError
from hushpoint.instrument import Direction, GaugePoint, TimedReading
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.sheet.kit_labels import PER_PAGE, Label, labels
from hushpoint.sheet.pdf import png_pages

ADDRESS = "http://192.168.137.1:8100"
NOW = datetime(2026, 5, 22, 9, tzinfo=UTC)
STEPS = (0, 60, 100, 150, 200, 250, 300)


def test_every_label_is_read_back_from_the_picture_of_the_sheet() -> None:
    """25 labels on a sheet begun at place 5 fill two pages; a decoder reads every picture, each once."""
    wanted = [f"{ADDRESS}/k/BCDF{first}{second}" for first in "GHJKL" for second in "MNPQR"]
    found = [Label(f"G{place}", "gauge", "", address) for place, address in enumerate(wanted)]
    values, pictures = labels(found, used=5)
    pages = png_pages("kit_labels", values, dpi=150, pictures=pictures)
    assert len(pages) == 2
    counts = []
    texts = []
    for page in pages:
        image = np.asarray(Image.open(io.BytesIO(page)).convert("L"))
        read = zxingcpp.read_barcodes(image)
        counts.append(len(read))
        texts += [one.text for one in read]
    assert sorted(texts) == sorted(wanted)
    assert counts == [PER_PAGE - 5, 6]


def test_labels_from_the_register_tell_arms_and_latex() -> None:
    """The sheet holds label, kind, arm range and latex as text."""
    ledger = MemoryLedger()
    fields = {"type": "cuff", "label": "C2", "bladder_width_cm": "16", "bladder_length_cm": "36", "latex": "no"}
    kit.add(ledger, fields, by="lecturer")
    kit.add(ledger, {"type": "gauge", "label": "G4"}, by="lecturer")
    items = list(kit.register(ledger).values())
    made = kit_sheets.label_pages(items, address=ADDRESS, used="", invented=True, made_at=NOW)
    text = " ".join(pypdf.PdfReader(io.BytesIO(made)).pages[0].extract_text().split())
    for words in ("C2", "arm 35 to 44 cm", "latex-free", "G4", "I N V E N T E D"):
        assert words in text
    again = kit_sheets.label_pages(items, address=ADDRESS, used="", invented=True, made_at=NOW)
    assert again == made
    for used in ("24", "-1", "x", "100"):
        with pytest.raises(BadInputError, match="0 to 23"):
            kit_sheets.label_pages(items, address=ADDRESS, used=used, invented=False, made_at=NOW)
    with pytest.raises(BadInputError, match="add an item first"):
        kit_sheets.label_pages([], address=ADDRESS, used="", invented=False, made_at=NOW)


def test_the_certificate_of_a_failed_gauge_holds_every_point() -> None:
    """All points, rule, uncertainty, role, reference with certificate, verdict, timed tests, and no next day."""
    ledger = MemoryLedger()
    gauge = kit.add(ledger, {"type": "gauge", "label": "G4", "serial": "77-A"}, by="lecturer")
    up = [GaugePoint(step, step - 6 if step else 0, Direction.UP) for step in STEPS]
    down = [GaugePoint(step, step - 5 if step else 0, Direction.DOWN) for step in reversed(STEPS)]
    reference = kit.Reference("M1", "12/2026, invented", 0.5)
    stored = kit.file_check(
        ledger, gauge.id, points=[*up, *down], rule="in_use", reference=reference, checked_at=NOW, how="bench",
        by="technician", now=NOW,
    )  # fmt: skip
    readings = [TimedReading(60.0 * minute, 200.0 - 2 * minute) for minute in range(6)]
    kit_timed.file_timed(ledger, gauge.id, what="leak", readings=readings, rule="new", by="lecturer")
    gauge = kit.item(ledger, gauge.id)
    tests = kit_timed.latest(kit_timed.timed_of(ledger, gauge))
    made = kit_sheets.certificate(gauge, stored, tests, months=6, invented=True)
    reader = pypdf.PdfReader(io.BytesIO(made))
    text = " ".join(reader.pages[0].extract_text().split())
    for words in (
        "Gauge check G4", "Outside its limits: take it out of use", "6 low at 60 going up", "serial 77-A", "technician",
        "M1; certificate: 12/2026, invented", "in_use (in use)", "22 May 2026", "coverage factor 2",
        "falling minus rising",
        "For use in calculation only", "out of use until it is mended", "from memory", "Leak", "2.0 (",
        "I N V E N T E D",
        "no accredited calibration",
    ):  # fmt: skip
        assert words in text, words
    for point in (*up, *down):
        assert f"{point.reference_mmhg:g} {point.reading_mmhg:g} " in text
    assert len(reader.pages) == 1
    assert made == kit_sheets.certificate(gauge, stored, tests, months=6, invented=True)


def test_the_certificate_of_a_good_gauge_says_when_next() -> None:
    """Six months on; half a check says what was not read."""
    ledger = MemoryLedger()
    gauge = kit.add(ledger, {"type": "gauge", "label": "G1"}, by="lecturer")
    points = [GaugePoint(step, step, Direction.UP) for step in (60, 100)]
    stored = kit.file_check(
        ledger, gauge.id, points=points, rule="new", reference=kit.Reference("M1", "12", 0), checked_at=NOW,
        how="second gauge", by="lecturer", now=NOW,
    )  # fmt: skip
    values = kit_sheets.certificate_values(gauge, stored, [], months=6, invented=False)
    assert values["verdict"] == "Within its limits"
    assert any("22 Nov 2026" in str(row) for row in values["facts"])  # type: ignore[attr-defined]
    assert any("falling pressure was not read" in str(note) for note in values["notes"])  # type: ignore[attr-defined]
