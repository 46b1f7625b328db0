"""Bad visits: one clear line, status 2, nothing on standard output, never a traceback, nobody named."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from hushpoint.cli.main import run

READING = '{"systolic": 120, "diastolic": 80}'


def text(**fields: str) -> bytes:
    """A visit whose fields are JSON text; readings and policy are good unless given."""
    whole = {"policy": '"ESC_2024"', "readings": f"[{READING}]"} | fields
    return ("{" + ", ".join(f'"{key}": {value}' for key, value in whole.items()) + "}").encode()


NO_NUMBERS = [
    '"120"',
    "true",
    "false",
    "[]",
    "[120]",
    "{}",
    '""',
    '"nan"',
    "-1",
    "0.5",
    "301",
    "300.1",
    "1e3",
    "9223372036854775807",
    "-9223372036854775809",
    "18446744073709551616",
    "1" * 30,
    "1" * 5000,
    "1e17",
    "-0.1",
]
NOT_JSON_NUMBERS = ["NaN", "Infinity", "-Infinity", "1e400", "-1e999"]
BROKEN = [
    b"",
    b" ",
    b"\n\n",
    b"{",
    b"}",
    b"[",
    b"{]",
    b"{'policy': 1}",
    b'{"policy": "ESC_2024",}',
    b"\xff\xfe{}",
    b"\x00",
    b'{"policy": "ESC_2024" "readings": []}',
    b"# no",
    b"policy: ESC_2024",
    b'{"a": 0x10}',
    b'{"a": 012}',
    b'{"a": +1}',
    b'{"a": 1_0}',
    b'{"a": "\t"}',
    b'{"a": tru}',
    b"[" * 100_000,
    b'{"a":' * 100_000,
    b"\xef\xbb\xbf",
    b"{}{}",
    b"time,systolic\n1,120",
    b"\x89PNG\r\n\x1a\n",
    b'{"a": "\xe9"}',
]
NO_OBJECTS = [b"null", b"[]", b"1", b'"visit"', b"true", b"[{}]"]
NO_TIMES = [
    '"yesterday"',
    '"09:30"',
    '"2026-03-02"',
    '"2026-13-02T09:30:00"',
    '"2026-02-30T09:30:00"',
    '"2026-03-02T25:00:00"',
    '"2026-03-02T09:60:00"',
    '"02/03/2026 09:30"',
    '"1889-03-02T09:30:00"',
    '"9999-12-31T23:59:59Z"',
    "1772444000",
    '""',
    '"0001-01-01T00:00:00"',
    '"2026-03-02T09:30:00+99:00"',
    '"2026-W10-1T09:30"',
    "true",
    "[]",
    '"２０２６-03-02T09:30:00"',
]


def cases() -> dict[str, tuple[bytes, tuple[str, ...]]]:
    """Each kind of bad visit, with words that its line must hold."""
    kinds: dict[str, tuple[bytes, tuple[str, ...]]] = {}
    for place, data in enumerate(BROKEN):
        kinds[f"broken-{place}"] = data, ()
    for place, data in enumerate(NO_OBJECTS):
        kinds[f"no-object-{place}"] = data, ("object",)
    for place, value in enumerate(NO_NUMBERS):
        kinds[f"systolic-{place}"] = (
            text(readings=f'[{READING}, {{"systolic": {value}, "diastolic": 80}}]'),
            ("number",),
        )
        kinds[f"diastolic-{place}"] = (
            text(readings=f'[{{"systolic": 200, "diastolic": {value if value != "0.5" else "200"}}}]'),
            ("number",),
        )
        kinds[f"age-{place}"] = (
            text(client=f'{{"age": {value if value != "0.5" else "121"}}}'),
            ("number",),
        )
        kinds[f"arm_cm-{place}"] = text(client=f'{{"arm_cm": {value}}}'), ("number",)
        kinds[f"pulse-{place}"] = text(pulse=f'{{"per_min": {value}}}'), ("number",)
    for place, value in enumerate(NOT_JSON_NUMBERS):
        kinds[f"not-finite-{place}"] = text(client=f'{{"age": {value}}}'), ("finite",)
    for place, value in enumerate(NO_TIMES):
        kinds[f"at-{place}"] = (
            text(readings=f'[{{"at": {value}, "systolic": 120, "diastolic": 80}}]'),
            ("reading 1, at", "1990 to 2100"),
        )
    for key, held in (
        ("symptoms", "ankle_swelling"),
        ("intended", "vigorous"),
        ("client.known_disease", "renal"),
        ("client.barred_arms", "left"),
    ):
        for place, code in enumerate(
            ['"x"', '"Chest_pain"', "1", "true", '""', '"' + "x" * 5000 + '"', '"\\u001b[2J"']
        ):
            value = code if key == "intended" else f"[{code}]"
            inner = key.removeprefix("client.")
            told = {"client": f'{{"{inner}": {value}}}'} if inner != key else {key: value}
            kinds[f"{key}-{place}"] = text(**told), (inner, "one of", held)
    for key in ("symptoms", "client.known_disease", "client.barred_arms", "client.medicines"):
        inner = key.removeprefix("client.")
        for place, value in enumerate(['"renal"', "{}", "1", "true", '["left", "left"]']):
            told = {"client": f'{{"{inner}": {value}}}'} if inner != key else {key: value}
            kinds[f"{key}-list-{place}"] = text(**told), (inner,)
    for key in ("consent", "client.pregnant", "client.first_visit", "client.exercises_regularly", "pulse.regular"):
        outer, _, inner = key.rpartition(".")
        for place, value in enumerate(['"yes"', "1", "0", "[]", '""']):
            told = {outer: f'{{"{inner}": {value}}}'} if outer else {inner: value}
            kinds[f"{key}-{place}"] = text(**told), (inner, "true or false")
    for key in ("performer", "gauge", "cuff", "position", "client.code"):
        outer, _, inner = key.rpartition(".")
        for place, value in enumerate(
            ['""', '" "', "1", "[]", '"Zoe Secret\\n"', '"Zoe Secret' + "x" * 80 + '"', '"\\ud800"']
        ):
            told = {outer: f'{{"{inner}": {value}}}'} if outer else {inner: value}
            kinds[f"{key}-{place}"] = text(**told), (inner, "1 to 80")
    for key in ("client", "pulse"):
        for place, value in enumerate(["0", "false", '""', "[]", "1", '"x"', "true", "[1]", '{"extra": 1}', '{"": 1}']):
            kinds[f"{key}-object-{place}"] = text(**{key: value}), (key,)
    for place, value in enumerate(['"x"', "{}", "1", "null", "true", "[1]", '["120/80"]', "[null]", "[[]]", "[{}]"]):
        kinds[f"readings-{place}"] = text(readings=value), ("reading",)
    both = '"at": "2026-03-02T09:30:00", "arm": "left"'
    kinds |= {
        "no-readings": (b'{"policy": "ESC_2024"}', ("readings",)),
        "no-policy": (b'{"readings": []}', ("policy", "NICE_NG136")),
        "unknown-policy": (text(policy='"WHO"'), ("policy", "NICE_NG136")),
        "policy-number": (text(policy="1"), ("policy",)),
        "policy-empty": (text(policy='""'), ("policy",)),
        "policy-control": (text(policy='"\\u001b[2J"'), ("policy", "NICE_NG136")),
        "unknown-field": (text(weight="70"), ("weight", "one of", "symptoms")),
        "unknown-reading-field": (text(readings='[{"sys": 1}]'), ("reading 1", "sys", "diastolic")),
        "no-diastolic": (text(readings='[{"systolic": 120}]'), ("reading 1, diastolic", "null")),
        "upside-down": (
            text(readings='[{"systolic": 80, "diastolic": 120}]'),
            ("reading 1", "below the systolic (80)"),
        ),
        "equal-ends": (text(readings='[{"systolic": 80, "diastolic": 80}]'), ("reading 1", "below the systolic")),
        "key-twice": (b'{"policy": "ESC_2024", "policy": "ESC_2024", "readings": []}', ("policy", "twice")),
        "deep-key-twice": (text(client='{"age": 1, "age": 2}'), ("age", "twice")),
        "same-time": (text(readings=f"[{{{both}, {READING[1:]}, {{{both}, {READING[1:]}]"), ("reading 2", "reading 1")),
        "some-times": (text(readings=f'[{{{both}, {READING[1:]}, {{"arm": "left", {READING[1:]}]'), ("reading 2, at",)),
        "some-arms": (text(readings=f'[{{"arm": "left", {READING[1:]}, {READING}]'), ("reading 2, arm",)),
        "third-arm": (text(readings=f'[{{"arm": "middle", {READING[1:]}]'), ("reading 1, arm", "left, right")),
        "too-many": (text(readings="[" + ", ".join([READING] * 101) + "]"), ("readings", "100")),
        "too-large": (text(gauge='"' + "x" * 1_000_000 + '"'), ("1 MB",)),
    }
    return kinds


CASES = cases()


def test_there_are_a_hundred_kinds_and_more() -> None:
    """The table below is not emptied by accident."""
    assert len(CASES) >= 100


@pytest.mark.parametrize("kind", CASES)
def test_bad_visits_are_told_in_one_line(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """File, place and what is allowed; nothing on standard output; no name repeated."""
    data, words = CASES[kind]
    path = tmp_path / "visit.json"
    path.write_bytes(data)
    monkeypatch.setattr(sys, "argv", ["hushpoint", "visit", str(path), "--json"])
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    assert (ended.value.code, out) == (2, "")
    line = err.removesuffix("\n")
    assert line.isprintable()
    assert line.startswith(("hushpoint: visit.json", "hushpoint: policy "))
    assert len(line) < 400
    assert "Secret" not in line
    for word in words:
        assert word in line


@pytest.mark.parametrize("named", ["nowhere.json", "folder", "a\x1b[2J.json", "x" * 300, "\x00"])
def test_paths_that_are_no_file(
    named: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A missing file, a folder and impossible names: one printable line, status 2."""
    (tmp_path / "folder").mkdir()
    monkeypatch.setattr(sys, "argv", ["hushpoint", "visit", str(tmp_path / named)])
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    assert (ended.value.code, out) == (2, "")
    assert err.removesuffix("\n").isprintable()


@pytest.mark.parametrize(("typed", "words"), [("-", "standard input: closed"), ("", ".: this is a folder")])
def test_closed_standard_input_and_no_name(
    typed: str, words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A closed standard input and an empty name are told like any other file."""
    monkeypatch.setattr(sys, "stdin", None)
    monkeypatch.setattr(sys, "argv", ["hushpoint", "visit", typed])
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    assert (ended.value.code, out) == (2, "")
    assert words in err


def test_an_unknown_policy_on_the_command_line(tmp_path: Path) -> None:
    """The whole program: the list of policies, status 2."""
    path = tmp_path / "visit.json"
    path.write_text(json.dumps({"readings": []}), encoding="utf-8")
    command = [sys.executable, "-c", "from hushpoint.cli.main import run; run()", "visit", str(path), "--policy", "x"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "ACC_AHA_2017" in done.stderr
