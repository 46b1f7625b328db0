"""No response of a round carries a truth value or a label before its answers are open: every one is searched."""

from __future__ import annotations

import io
import re
import wave
from pathlib import Path

import anyio
import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from hushpoint.desk import classes, rounds
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.practice.sealed import KINDS
from hushpoint.wiring import Settings, build
from own_loop import in_own_loop
from plain import plain

PASSWORD = "ten letters or more"
LABELS = ("truth", "kind", "seed", "key", "systolic_mmhg", "gap", "irregular", "faint", "person", "loud", "peak")


def first_event(app: Starlette, path: str, cookies: dict[str, str]) -> str:
    """Return the first event of a stream."""
    found: list[bytes] = []

    async def ask() -> None:
        async def receive() -> dict[str, object]:
            await anyio.sleep_forever()
            raise AssertionError

        async def send(message: dict[str, object]) -> None:
            if message["type"] == "http.response.body" and message.get("body"):
                found.append(bytes(message["body"]))  # type: ignore[call-overload]

        cookie = "; ".join(f"{name}={value}" for name, value in cookies.items()).encode()
        scope = {"type": "http", "http_version": "1.1", "method": "GET", "scheme": "http", "path": path,
                 "raw_path": path.encode(), "query_string": b"", "root_path": "", "client": ("127.0.0.1", 1),
                 "server": ("testserver", 80), "headers": [(b"host", b"testserver"), (b"cookie", cookie)]}  # fmt: skip
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(app, scope, receive, send)
            with anyio.fail_after(10):
                while not found:
                    await anyio.sleep(0.01)
            tasks.cancel_scope.cancel()

    in_own_loop(ask)
    return b"".join(found).decode()


def chunks(riff: bytes) -> list[bytes]:
    """Names of the chunks in a WAV file."""
    place, names = 12, []
    while place < len(riff):
        names.append(riff[place : place + 4])
        size = int.from_bytes(riff[place + 4 : place + 8], "little")
        place += 8 + size + size % 2
    return names


@pytest.mark.parametrize("kind", ["gap", "irregular", "faint", "low"])
def test_no_response_of_a_round_tells_truth_or_label(tmp_path: Path, kind: str) -> None:
    """Pages, events, sound, needle and acknowledgements of learner and lecturer, before and after sealing."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, client=("127.0.0.1", 1), follow_redirects=False) as lecturer:
        lecturer.post("/class/first-run", data={"password": PASSWORD})
        code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        phone = TestClient(app, follow_redirects=False)
        phone.post(f"/join/{code}", data={"name": "Ines"})
        said = [lecturer.post(f"/class/{code}/rounds", data={"kind": kind})]
        found = rounds.newest(ledger, code)
        assert found is not None
        here, theirs = f"/practise/rounds/{found.id}", f"/class/{code}/rounds"
        said.append(phone.post(f"{here}/ready", json={"profile": "headphones"}))
        said.append(lecturer.post(f"{theirs}/{found.id}/start"))
        reading = {"systolic": 300, "diastolic": 0}
        said.append(phone.post(f"{here}/answer", json={"reading": reading}))
        said += [phone.get(path) for path in ("/practise/round", "/practise", "/practise/time", f"{here}/result")]
        said += [lecturer.get(path) for path in (theirs, f"{theirs}/wall", f"/class/{code}", f"/class/{code}/wall")]
        streams = [
            first_event(app, "/practise/round/events", dict(phone.cookies)),
            first_event(app, f"{theirs}/events", dict(lecturer.cookies)),
            first_event(app, f"{theirs}/wall/events", dict(lecturer.cookies)),
        ]
        needle, sound = phone.get(f"{here}/needle"), phone.get(f"{here}/sound.wav")

    # the page where a kind is chosen lists all of them, whichever was chosen: the list itself tells nothing; nor does
    # the list of what courses teach, which names a fixed pressure
    choices = re.compile(r'<label for="(?:kind|policy)">.*?</select>', re.S)
    texts = (
        [choices.sub("", answer.text) for answer in said] + [repr(dict(answer.headers)) for answer in said] + streams
    )
    truths = {str(found.key.systolic_mmhg), str(found.key.diastolic_mmhg), str(found.seed), found.kind}
    truths |= {rounds.kind_words(found.kind), f"{found.key.systolic.mmhg:.1f}", f"{found.key.diastolic.mmhg:.1f}"}
    for text in texts:
        bare = plain(text)
        for truth in truths:
            assert re.search(rf"(?<![\w.#-]){re.escape(truth)}(?![\w.])", bare) is None, (truth, bare)
        body = re.search(r"\{.*\}", bare)
        if body and bare.lstrip().startswith("{"):
            assert not [label for label in LABELS if f'"{label}' in bare], bare
    # sound and needle hold what they must and nothing beside it
    assert set(needle.json()) == {"step_s", "mmhg"}
    assert chunks(sound.content) == [b"fmt ", b"data"]
    for answer in (needle, sound):
        told = {name: value for name, value in answer.headers.items() if name not in ("content-length", "etag")}
        assert not [value for value in told.values() if found.kind in value]
    with wave.open(io.BytesIO(sound.content)) as heard:
        assert (heard.getnchannels(), heard.getsampwidth(), heard.getframerate()) == (1, 2, 8000)


def test_the_list_of_kinds_never_tells_which_was_chosen(tmp_path: Path) -> None:
    """The lecturer's page is the same whichever kind is on, but for the round's random id."""
    pages = set()
    for kind in KINDS:
        ledger = MemoryLedger()
        app = build(Settings(data_dir=tmp_path), ledger)
        with TestClient(app, client=("127.0.0.1", 1)) as lecturer:
            lecturer.post("/class/first-run", data={"password": PASSWORD})
            code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
            found = rounds.open_round(ledger, room=code, kind=kind, seed=9)
            text = lecturer.get(f"/class/{code}/rounds").text
            pages.add(text.replace(found, "ID").replace(code, "CODE"))
    assert len(pages) == 1
