"""Encrypted names: none in any byte of the store, what stays readable, what a lost or wrong passphrase means."""

from __future__ import annotations

import gzip
import json
import os
import shutil
import sqlite3
import subprocess
from pathlib import Path

import pytest
import sqlalchemy as sa

from hushpoint.desk import classes
from hushpoint.ledger.backup import read_backup, restore_backup, write_backup
from hushpoint.ledger.identity import NamesLockedError, unwrapped
from hushpoint.ledger.records import Entry, Kind, LedgerError
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import FILE_NAME, open_ledger, open_postgres, open_sqlite
from serving import COMMAND, free_port, start, stop

WORD, OTHER = "correct horse and more", "correct horse and less"
INES, OLU = "Ines Invented", "Olu Made-Up"
NAMED = 4
"""How many rows of `filled` name somebody."""


def filled(ledger: SqlLedger) -> tuple[str, str]:
    """A class with two names, a note and a measurement; return its code and the first learner's id."""
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    classes.add_roster(ledger, room=code, names=[OLU])
    who = classes.join(ledger, room=code, name=INES)
    ledger.append(
        Entry(Kind.FINDING_NOTED, {"systolic": 128, "note": f"{INES} asked"}, room=code, who=who),
        Entry(Kind.MEASUREMENT_FILED, {"log": {"reading": {"systolic": 126}}}, room=code, who=who, ref="m1"),
    )
    return code, who


def bytes_of(folder: Path) -> bytes:
    """Everything in every file of a folder."""
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


def names_in(content: bytes) -> list[str]:
    """Which of the names stand in these bytes."""
    return [name for name in (INES, OLU) if name.encode() in content]


def hushpoint(*words: object) -> subprocess.CompletedProcess[str]:
    """Run a command without a screen."""
    return subprocess.run(
        [*COMMAND, *map(str, words)], capture_output=True, text=True, timeout=60, check=False, stdin=subprocess.DEVNULL
    )


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    """Check that a command was refused in one line, and return it."""
    assert done.returncode == 2, done
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    return done.stderr


@pytest.fixture
def word(tmp_path: Path) -> Path:
    """A file with the passphrase."""
    path = tmp_path / "word"
    path.write_text(f"{WORD}\n")
    return path


def test_no_name_is_left_in_any_file_of_the_folder(tmp_path: Path) -> None:
    """Rows from before and after, the log of writes beside the file included, while open and after closing."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    code, who = filled(ledger)
    assert names_in(bytes_of(tmp_path)) == [INES, OLU], "the names can be found where they are not encrypted"
    head = ledger.verify().head
    assert ledger.encrypt_names(WORD) == NAMED
    assert ledger.scrub()
    assert names_in(bytes_of(tmp_path)) == []
    assert (ledger.verify().head, ledger.verify().first_altered, ledger.verify().unopened) == (head, None, 0)
    third = classes.join(ledger, room=code, name="Tomo Invented")
    assert b"Tomo" not in bytes_of(tmp_path)
    assert {INES, OLU, "Tomo Invented"} == set(classes.names_of(ledger, code).values())
    ledger.close()
    assert names_in(bytes_of(tmp_path)) == []
    again = open_ledger(tmp_path, passphrase=WORD)
    assert (classes.name_of(again, code, who), classes.name_of(again, code, third)) == (INES, "Tomo Invented")
    assert again.verify().first_altered is None
    again.close()


def test_without_the_passphrase_there_are_codes_and_readings(tmp_path: Path) -> None:
    """A code for each person, every reading as it was, nothing new of a name, and the chain still walked."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    code, who = filled(ledger)
    ledger.encrypt_names(WORD)
    ledger.close()
    shut = open_ledger(tmp_path)
    assert shut.names_encrypted
    assert not shut.names_open
    assert classes.name_of(shut, code, who) == f"Person {who[:6]}"
    (filed,) = shut.rows(kinds=[Kind.MEASUREMENT_FILED])
    assert filed.body == {"log": {"reading": {"systolic": 126}}}
    (note,) = shut.rows(kinds=[Kind.FINDING_NOTED])
    assert note.body == {"systolic": 128, "note": "(encrypted)"}
    found = shut.verify()
    assert (found.first_altered, found.unopened) == (None, NAMED)
    before = shut.last()
    with pytest.raises(NamesLockedError, match="--passphrase-file"):
        classes.join(shut, room=code, name="Tomo Invented")
    with pytest.raises(NamesLockedError):
        shut.kept([2, 3])
    assert shut.last() == before
    classes.join_alone(shut)
    assert shut.last() == before + 1
    shut.close()


def test_a_process_that_does_not_know_of_it_writes_no_name(tmp_path: Path) -> None:
    """A server that was started before is refused, not left to write names in the open."""
    earlier = open_sqlite(tmp_path / FILE_NAME)
    code, _ = filled(earlier)
    beside = open_sqlite(tmp_path / FILE_NAME)
    beside.encrypt_names(WORD)
    with pytest.raises(NamesLockedError):
        classes.add_roster(earlier, room=code, names=["Tomo Invented"])
    earlier.close()
    beside.close()


def test_an_altered_or_moved_name_is_found(tmp_path: Path) -> None:
    """Bytes changed, and one person's sealed name put in the place of another's: verify names the row."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    filled(ledger)
    ledger.encrypt_names(WORD)
    ledger.close()
    for change in (
        "UPDATE payload SET sealed = substr(sealed, 1, 40) || 'AAAA' || substr(sealed, 45) WHERE seq = 2",
        "UPDATE payload SET sealed = (SELECT sealed FROM payload WHERE seq = 3) WHERE seq = 2",
        'UPDATE payload SET body = \'{"name":"Somebody"}\', sealed = NULL WHERE seq = 2',
    ):
        copy = tmp_path / "copy"
        shutil.rmtree(copy, ignore_errors=True)
        copy.mkdir()
        shutil.copy(tmp_path / FILE_NAME, copy)
        with sqlite3.connect(copy / FILE_NAME) as outside:
            outside.execute(change)
        outside.close()
        opened = open_ledger(copy, passphrase=WORD)
        assert opened.verify().first_altered == 2
        opened.close()


def test_erasing_takes_the_sealed_name_too(tmp_path: Path) -> None:
    """Nothing of a person is left, sealed or not, and the journal says erased."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    code, who = filled(ledger)
    ledger.encrypt_names(WORD)
    assert classes.erase_learner(ledger, room=code, who=who, why="at the learner's request") >= 3
    assert [row.body for row in ledger.rows(who=who) if row.kind != Kind.PERSON_ERASED and row.body is not None] == []
    ledger.close()
    with sqlite3.connect(tmp_path / FILE_NAME) as outside:
        left = outside.execute(
            "SELECT count(*) FROM payload JOIN journal USING (seq) WHERE who = ? AND kind != 'person.erased'", (who,)
        ).fetchone()
    outside.close()
    assert left == (0,)
    again = open_ledger(tmp_path, passphrase=WORD)
    assert again.verify().first_altered is None
    assert again.verify().erased >= 3
    again.close()


def test_another_passphrase_wraps_the_same_key(tmp_path: Path) -> None:
    """No payload is touched; the new one opens the names, the old one no longer does."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    code, who = filled(ledger)
    ledger.encrypt_names(WORD)
    before = [one.sealed for one in ledger.stored()]
    ledger.change_passphrase(OTHER)
    assert [one.sealed for one in ledger.stored()] == before
    ledger.close()
    with pytest.raises(LedgerError, match="readings and codes stay"):
        open_ledger(tmp_path, passphrase=WORD)
    again = open_ledger(tmp_path, passphrase=OTHER)
    assert classes.name_of(again, code, who) == INES
    again.close()


def test_after_a_lost_passphrase_names_begin_anew(tmp_path: Path) -> None:
    """Old names are codes for good, new ones are kept, readings stay, and verify says what it did not open."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    code, who = filled(ledger)
    ledger.encrypt_names(WORD)
    ledger.close()
    shut = open_ledger(tmp_path)
    shut.give_up_names(OTHER)
    classes.join(shut, room=code, name="Tomo Invented")
    shut.close()
    again = open_ledger(tmp_path, passphrase=OTHER)
    names = classes.names_of(again, code)
    assert names[who] == f"Person {who[:6]}"
    assert "Tomo Invented" in names.values()
    found = again.verify()
    assert (found.first_altered, found.unopened) == (None, NAMED)
    again.close()


def test_a_backup_carries_sealed_names_and_needs_no_passphrase(tmp_path: Path) -> None:
    """Made and restored shut; the names come back under the passphrase; an older Hushpoint is told the format."""
    ledger = open_sqlite(tmp_path / "one" / FILE_NAME)
    code, who = filled(ledger)
    head = ledger.verify().head
    ledger.encrypt_names(WORD)
    ledger.close()
    shut = open_ledger(tmp_path / "one")
    kept = tmp_path / "kept"
    write_backup(shut, kept)
    shut.close()
    text = gzip.decompress(kept.read_bytes())
    assert names_in(text) == []
    assert json.loads(text.splitlines()[0])["version"] == 3
    assert all(row.sealed is None or row.text is None for row in read_backup(kept)[0])
    target = open_sqlite(tmp_path / "two" / FILE_NAME)
    restore_backup(target, kept)
    target.open_names(WORD)
    assert classes.name_of(target, code, who) == INES
    assert (target.verify().head, target.verify().first_altered) == (head, None)
    target.close()


@pytest.mark.postgres
def test_no_name_is_in_a_dump_of_postgresql(tmp_path: Path, postgres_url: str) -> None:
    """Neither in the dump nor in the table's file, rows from before included."""
    ledger = open_postgres(postgres_url, tmp_path)
    code, who = filled(ledger)
    url = sa.make_url(postgres_url).set(drivername="postgresql").render_as_string(hide_password=False)
    dump = shutil.which("pg_dump")
    if dump is None:
        pytest.skip("pg_dump is not here")
    dumped = subprocess.run([dump, url], capture_output=True, check=True).stdout
    assert names_in(dumped) == [INES, OLU]
    assert ledger.encrypt_names(WORD) == NAMED
    assert ledger.scrub()
    dumped = subprocess.run([dump, url], capture_output=True, check=True).stdout
    assert names_in(dumped) == []
    ledger.close()
    again = open_ledger(tmp_path, postgres_url, passphrase=WORD)
    assert classes.name_of(again, code, who) == INES
    assert again.verify().first_altered is None
    again.close()


def test_the_commands_of_encrypted_names(tmp_path: Path, word: Path) -> None:
    """Turn on, wrong and missing passphrase in one line each, change it, and what verify, doctor and export say."""
    data = tmp_path / "data"
    ledger = open_sqlite(data / FILE_NAME)
    code, who = filled(ledger)
    ledger.close()
    other = tmp_path / "other"
    other.write_text(f"{OTHER}\n")
    assert "--passphrase-file" in one_line(hushpoint("encrypt", "--data", data))
    done = hushpoint("encrypt", "--data", data, "--passphrase-file", word)
    assert (done.returncode, done.stdout) == (0, "")
    assert f"{NAMED} earlier rows" in done.stderr
    assert "A lost passphrase is lost" in done.stderr
    assert names_in(bytes_of(data)) == []
    for words in (
        ("serve", "--port", free_port()),
        ("serve", "--port", free_port(), "--passphrase-file", other),
        ("encrypt", "--passphrase-file", other),
        ("export", INES, "--out", tmp_path / "out"),
        ("export", who, "--out", tmp_path / "out", "--passphrase-file", other),
        ("verify", "--passphrase-file", other),
    ):
        said = one_line(hushpoint(*words, "--data", data))
        assert "correct horse" not in said
        assert "passphrase" in said
    assert not (tmp_path / "out").exists()
    assert f"{NAMED} rows hold encrypted names" in hushpoint("verify", "--data", data).stdout
    told = json.loads(hushpoint("verify", "--data", data, "--passphrase-file", word, "--json").stdout)
    assert (told["whole"], told["unopened"]) == (True, 0)
    assert "MEND  names: are encrypted, and no passphrase was named" in hushpoint("doctor", "--data", data).stdout
    wrong = hushpoint("doctor", "--data", data, "--passphrase-file", other)
    assert wrong.returncode == 1
    assert "MEND  names: the passphrase does not open" in wrong.stdout
    assert (
        hushpoint("export", INES, "--out", tmp_path / "out", "--data", data, "--passphrase-file", word).returncode == 0
    )
    changed = hushpoint("encrypt", "--data", data, "--passphrase-file", word, "--new-passphrase-file", other)
    assert changed.returncode == 0
    assert hushpoint("verify", "--data", data, "--passphrase-file", other).returncode == 0
    assert code


def test_the_server_opens_with_the_passphrase_or_goes_on_with_codes(tmp_path: Path, word: Path) -> None:
    """serve turns it on in an empty folder; without it, codes only: a learner already in goes on, a new name waits."""
    import httpx2

    from hushpoint.desk import access

    data = tmp_path / "data"
    site = start(data, "--passphrase-file", str(word))
    ledger = open_ledger(data, passphrase=WORD)
    access.set_password(ledger, "ten letters or more")
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    ledger.close()
    try:
        with httpx2.Client(base_url=site.here, timeout=20) as phone:
            assert phone.post(f"/join/{code}", data={"name": INES}).status_code == 303
            cookies = dict(phone.cookies)
    finally:
        stop(site)
    assert names_in(bytes_of(data)) == []
    site = start(data, "--codes-only")
    try:
        with httpx2.Client(base_url=site.here, timeout=20, cookies=cookies) as phone:
            assert phone.get("/practise").status_code == 200
            assert phone.post("/practise/measurements", json={"ref": "a"}).status_code == 201
            refused = phone.post(f"/join/{code}", data={"name": OLU}, headers={"accept": "text/html"})
            assert refused.status_code == 403
            assert "Names and notes are encrypted" in refused.text
            phone.post("/class/sign-in", data={"password": "ten letters or more"})
            board = phone.get(f"/class/{code}").text
            assert INES not in board
            assert "Person " in board
            assert "people are shown by code" in board
    finally:
        stop(site)
    assert names_in(bytes_of(data)) == []


@pytest.mark.parametrize(
    "harm", ["{}", "no json", '{"mark": 1, "salt": "", "key": ""}', '{"mark":"a","salt":"x","key":"AAAA"}']
)
def test_a_damaged_key_is_one_line(harm: str) -> None:
    """Whatever lies in the settings."""
    with pytest.raises(LedgerError) as refusal:
        unwrapped(harm, WORD)
    assert len(str(refusal.value).splitlines()) == 1


def test_the_same_name_is_never_sealed_alike(tmp_path: Path) -> None:
    """Two people of one name cannot be told to be of one name from the file."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    ledger.encrypt_names(WORD)
    for room in ("AAAA", "BBBB"):
        ledger.append(Entry(Kind.ROSTER_ADDED, {"name": INES}, room=room, who=os.urandom(4).hex()))
    one, two = ledger.stored()
    assert one.sealed is not None
    assert two.sealed is not None
    assert one.sealed.secret[20:] != two.sealed.secret[20:]
    ledger.close()
