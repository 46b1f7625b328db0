"""No response of a paper carries a truth value or a label before its results are open: every one is searched."""

from __future__ import annotations

import html
import io
import json
import re
import wave
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.desk import classes, papers
from hushpoint.guideline.competence_rules import competence_rules
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.web.check import DEVICE_COOKIE, DEVICE_S
from hushpoint.wiring import Settings, build
from plain import plain

PASSWORD = "ten letters or more"
LABELS = ("truth", "key", "seed", "gap", "irregular", "faint", "muffled", "person", "traits", "difficulty", "loud")


def checked(phone: TestClient, app: object, profile: str = "headphones") -> None:
    """Give a device its mark, as a device check that went well does."""
    context = app.state.context  # type: ignore[attr-defined]
    phone.cookies.set(DEVICE_COOKIE, context.sign({"profile": profile, "on": "2026-03-02"}))
    assert DEVICE_S > 0


def test_a_paper_begins_only_on_a_checked_device(tmp_path: Path) -> None:
    """Without the mark, with a forged one, or on a speaker where earphones are asked for: refused in one line."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    paper = papers.set_paper(ledger, room=code, setting=papers.Setting("Week 8"), seed=2)
    phone = TestClient(app, follow_redirects=False)
    phone.post(f"/join/{code}", data={"name": "Ines"})
    before = ledger.last()
    assert phone.post(f"/practise/papers/{paper}/begin").status_code == 403
    assert "Check this device" in phone.get("/practise/papers").text
    phone.cookies.set(DEVICE_COOKIE, "forged")
    assert phone.post(f"/practise/papers/{paper}/begin").status_code == 403
    checked(phone, app, "phone")
    assert "earphones" in phone.post(f"/practise/papers/{paper}/begin").json()["error"]
    assert ledger.last() == before
    checked(phone, app)
    assert phone.post(f"/practise/papers/{paper}/begin").status_code == 303


@pytest.mark.parametrize("seed", [2, 5])
def test_no_response_of_a_paper_tells_truth_or_label(tmp_path: Path, seed: int) -> None:
    """Pages, states, sounds, needles, acknowledgements and the exported form, of learner and lecturer, until opened."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, client=("127.0.0.1", 1), follow_redirects=False) as lecturer:
        lecturer.post("/class/first-run", data={"password": PASSWORD})
        code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        phone = TestClient(app, follow_redirects=False)
        phone.post(f"/join/{code}", data={"name": "Ines"})
        checked(phone, app)
        settings = {"title": "Week", "rule": "NHANES_2003", "marking": "at_end", "plays": "2", "attempts": "3"}
        said = [lecturer.post(f"/class/{code}/papers", data=settings)]
        paper = papers.papers_of(ledger, code)[0]
        theirs = f"/class/{code}/papers/{paper.id}"
        said.append(phone.post(f"/practise/papers/{paper.id}/begin"))
        here = str(said[-1].headers["location"])
        attempt = here.rsplit("/", 1)[1]
        sounds, needles = [], []
        for place in range(1, 13):
            sounds.append(phone.get(f"{here}/{place}/sound.wav"))
            needles.append(phone.get(f"{here}/{place}/needle"))
            said.append(phone.post(f"{here}/{place}/play", json={"number": 1}))
            said += [phone.get(f"{here}/state"), phone.get(here)]
            reading = {"systolic": 300, "diastolic": 0}
            said.append(phone.post(f"{here}/{place}/answer", json={"reading": reading}))
        said += [phone.get(path) for path in (f"{here}/state", f"{here}/result", "/practise/papers", "/practise")]
        said += [
            lecturer.get(path) for path in (theirs, f"/class/{code}/papers", f"/class/{code}", f"/class/{code}/wall")
        ]
        said.append(lecturer.get(f"{theirs}/attempts/{attempt}"))
        assert said[-1].status_code == 403
        said.append(lecturer.post(f"{theirs}/export"))
        form = str(said[-1].headers["location"])
        said.append(lecturer.get(form))
        assert lecturer.get(f"{form}/key.pdf").status_code == 403

        keys = [key for number in (1, 2) for key in papers.keys_of(paper, number)]
        truths = {f"{one.systolic_mmhg}/{one.diastolic_mmhg}" for one in keys}
        truths |= {
            f"{end.mmhg:.{digits}f}" for one in keys for end in (one.systolic, one.diastolic) for digits in (1, 2)
        }
        numbers = {str(value) for one in keys for value in (one.systolic_mmhg, one.diastolic_mmhg)} | {str(paper.seed)}
        rule = competence_rules()["NHANES_2003"]
        for answer in said:
            text = html.unescape(answer.text) + json.dumps(dict(answer.headers))
            for words in (rule.source, rule.note[1:], rule.text):
                text = text.replace(words, "")
            # the rule's words are the rule's; the list of what courses teach names a fixed pressure
            text = re.sub(r'<label for="policy">.*?</select>', "", text, flags=re.S)
            bare = re.sub(r"(?i:within 2 on [^.]*)", "", plain(text))
            for truth in truths:
                assert truth not in bare, truth
            shown = re.sub(r"<svg.*?</svg>|<[^>]*>", " ", bare, flags=re.S)
            assert not {one for one in numbers if re.search(rf"(?<![\d.]){one}(?![\d.])", shown)}, shown
            if answer.headers.get("content-type", "").startswith("application/json"):
                assert not [label for label in LABELS if label in answer.text], answer.text
        for sound, needle in zip(sounds, needles, strict=True):
            assert set(needle.json()) == {"step_s", "mmhg"}
            with wave.open(io.BytesIO(sound.content)) as heard:
                assert heard.getnchannels() == 1
                assert len(sound.content) == 44 + 2 * heard.getnframes()  # a head and samples, no room for words
        # once open, the key is there: the search above would have found it
        lecturer.post(f"{theirs}/change", data={"to": "results_open"})
        opened = phone.get(f"{here}/result").text
        assert sum(f"key {one.systolic_mmhg}" in opened for one in papers.keys_of(paper, 1)) == 12
        assert lecturer.get(f"{theirs}/attempts/{attempt}").status_code == 200
