"""Bundles: recomputed without the ledger, and whatever byte is altered is found and named."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from datetime import UTC, date, datetime

import pytest

from evidence_scenes import signing, with_an_amplified_stethoscope
from hushpoint.desk import bundle as bundles
from hushpoint.desk import classes, decisions, pairs
from hushpoint.desk.bundle import NAMES, ROWS, bundle
from hushpoint.desk.bundle_check import verify_bundle
from hushpoint.errors import NotFoundError
from hushpoint.ledger.chain import chained, payload_digest
from hushpoint.ledger.memory import MemoryLedger

MADE_AT = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def made() -> bytes:
    """A signed, amended learner of scene 9, one reading corrected by the lecturer."""
    ledger = MemoryLedger()
    code, who = with_an_amplified_stethoscope(ledger)
    first = pairs.fair_pairs(ledger, code, who)[0]
    pairs.correct(
        ledger, room=code, pair=first.id, observer=pairs.LECTURER, by=pairs.LECTURER, systolic=112, diastolic=68,
        why="slip of the pen", ref="c",
    )  # fmt: skip
    told = signing(adjustment="amplified stethoscope head")
    signed = decisions.sign(ledger, room=code, learner=who, signing=told, today=date(2026, 11, 20))
    decisions.amend(
        ledger,
        room=code,
        learner=who,
        row=signed.row,
        name="noise",
        new="loud",
        by="L. Okafor",
        why="left out",
        ref="m",
    )
    return bundle(ledger, room=code, who=who, made_at=MADE_AT)


def test_a_whole_bundle_is_recomputed_and_its_decision_follows(made: bytes) -> None:
    """No problem; the decision follows; the same moment gives the same bytes of every derived file."""
    found = verify_bundle(made)
    assert found.problems == []
    assert [(one["decision"], one["recomputed"], one["follows"]) for one in found.decisions] == [
        ("competent", "competent", True)
    ]
    with zipfile.ZipFile(io.BytesIO(made)) as packed:
        assert packed.read("evidence.pdf")[:5] == b"%PDF-"
        assert b"pdfaid" in packed.read("evidence.pdf")
        told = json.loads(packed.read("evidence.json"))
        assert len(packed.read("readings.csv").splitlines()) == 41
    assert told["decisions"][0]["amendments"][0]["new"] == "loud"
    assert told["decisions"][0]["rule_text"].startswith("id,name,dated")


def test_any_altered_byte_is_found(made: bytes) -> None:
    """Every header byte, and of the files a byte in 97 through all of them: one flipped bit is never passed over."""
    with zipfile.ZipFile(io.BytesIO(made)) as packed:
        infos = packed.infolist()
        heads = [at for info in infos for at in range(info.header_offset, info.header_offset + 40)]
    places = sorted({*heads, *range(0, len(made), max(1, len(made) // 120)), *range(len(made) - 600, len(made), 7)})
    for at in places[:: max(1, len(places) // 150)]:
        changed = bytearray(made)
        changed[at] ^= 1
        assert verify_bundle(bytes(changed)).problems, at


def test_an_altered_row_is_named_by_its_number(made: bytes) -> None:
    """In the payload, the salt, the digest, the chain and a column: the very row is named."""
    with zipfile.ZipFile(io.BytesIO(made)) as packed:
        lines = packed.read(ROWS).split(b"\n")
    line = next(one for one in lines if b"reading.taken" in one)
    record = json.loads(line)
    for part in (record["payload"][1][-12:-2], record["payload"][0], *record["row"][-2:], record["row"][1]):
        at = made.index(line) + line.index(json.dumps(part)[1:-1].encode()) + 3
        changed = bytearray(made)
        changed[at] ^= 1
        assert verify_bundle(bytes(changed)).altered_rows == [record["row"][0]], part


def test_a_forger_who_mends_digest_chain_and_manifest_is_still_found(made: bytes) -> None:
    """A reading changed with a digest, a chain and a manifest made anew: the files that follow from the rows differ."""
    with zipfile.ZipFile(io.BytesIO(made)) as packed:
        files = {name: packed.read(name) for name in NAMES}
    lines = files[ROWS].split(b"\n")
    place = next(number for number, one in enumerate(lines) if b"reading.taken" in one)
    record = json.loads(lines[place])
    body = json.loads(record["payload"][1])
    body["systolic"] += 2
    record["payload"][1] = json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    row = record["row"]
    row[7] = payload_digest(*record["payload"])
    row[8] = chained(record["before"], *row[:8])
    lines[place] = bundles.line_bytes(record)
    files[ROWS] = b"\n".join(lines)
    listed = json.loads(files[bundles.MANIFEST])
    listed[ROWS] = hashlib.sha256(files[ROWS]).hexdigest()
    files[bundles.MANIFEST] = bundles.json_bytes(listed)
    assert verify_bundle(bundles.zipped(files)).problems


@pytest.mark.parametrize("data", [b"", b"PK", b"x" * 500, bundles.json_bytes({})])
def test_what_is_no_bundle_is_said_so(data: bytes) -> None:
    """One line, never a fault."""
    assert len(verify_bundle(data).problems) == 1


def test_a_decision_against_the_record_does_not_follow() -> None:
    """Signed competent on nothing: taken, marked, and told by whoever recomputes it."""
    ledger = MemoryLedger()
    code = classes.open_class(ledger, name="A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines")
    decisions.sign(ledger, room=code, learner=who, signing=signing(), today=date(2026, 11, 20))
    found = verify_bundle(bundle(ledger, room=code, who=who, made_at=MADE_AT))
    assert (found.problems, found.decisions[0]["follows"]) == ([], False)


def test_an_erased_learner_has_no_bundle_and_an_erased_reference_is_said() -> None:
    """Nothing is exported of who was erased; of a reference who was, the rows say erased and verify."""
    ledger = MemoryLedger()
    code, who = with_an_amplified_stethoscope(ledger)
    other = classes.join(ledger, room=code, name="Olu")
    pair = pairs.open_pair(ledger, room=code, opening=pairs.Opening(who, other))
    for observer in (who, other):
        pairs.seal(ledger, room=code, pair=pair, observer=observer, systolic=120, diastolic=80, ref="s")
    decisions.sign(ledger, room=code, learner=who, signing=signing(), today=date(2026, 11, 20))
    classes.erase_learner(ledger, room=code, who=other, why="asked")
    found = verify_bundle(bundle(ledger, room=code, who=who, made_at=MADE_AT))
    assert (found.problems, found.erased > 0) == ([], True)
    assert found.decisions[0]["evidence_erased_since"]
    classes.erase_learner(ledger, room=code, who=who, why="asked")
    with pytest.raises(NotFoundError):
        bundle(ledger, room=code, who=who, made_at=MADE_AT)
