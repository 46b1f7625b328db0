"""Scene 2 in Chromium: an auditor on an offline laptop, 14 months later, and one altered byte in bundle and store."""

from __future__ import annotations

import json
import re
import sqlite3
import time
import zipfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from typer.testing import CliRunner

from evidence_scenes import REFERENCES, SCENE_NINE, pairs_from_paper, signing
from evidence_site import DatedSite, as_lecturer, offline, served_on
from hushpoint.cli.main import app
from hushpoint.desk import classes, decisions, pairs
from hushpoint.ledger.store import FILE_NAME

pytestmark = pytest.mark.browser
NAMES = ("Ines Nine", "Olu Ten", "Mara Eleven")
SIGNED, AUDITED = "2025-09-10", "2026-11-12"


@pytest.fixture(scope="module")
def college(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[DatedSite, str]]:
    """Three learners signed on one day, one decision amended and appealed, one reading corrected; 14 months pass."""
    with served_on(tmp_path_factory.mktemp("audit"), SIGNED) as site:
        ledger = site.ledger
        code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        for name in NAMES:
            who = classes.join(ledger, room=code, name=name)
            pairs_from_paper(ledger, code, who, SCENE_NINE, REFERENCES, SIGNED)
            asked = signing(ref="s", signed_on=SIGNED)
            signed = decisions.sign(ledger, room=code, learner=who, signing=asked, today=date(2025, 9, 10))
            if name == NAMES[0]:
                act = {"room": code, "learner": who, "row": signed.row, "by": "L. Okafor"}
                decisions.appeal(ledger, **act, grounds="the noise", outcome="open", ref="p")
                decisions.amend(ledger, **act, name="noise", new="a class at work", why="left out", ref="m")
                decisions.appeal(ledger, **act, grounds="heard again", outcome="stands", ref="q")
                pair = pairs.fair_pairs(ledger, code, who)[3].id
                pairs.correct(
                    ledger, room=code, pair=pair, observer=who, by=pairs.LECTURER, systolic=124, diastolic=70,
                    why="slip of the pen", ref="c",
                )  # fmt: skip
        site.clock.day = AUDITED
        yield site, code


@pytest.fixture(scope="module")
def auditor(college: tuple[DatedSite, str], chromium: Browser) -> Iterator[Page]:
    """Whoever comes in by the link that the lecturer made; nothing is asked of any other machine."""
    site, elsewhere = college[0], []
    lecturer = offline(chromium, site, elsewhere)
    as_lecturer(lecturer, site)
    lecturer.goto(f"{site.here}/access")
    lecturer.get_by_role("button", name="Make a link").click()
    expect(lecturer.get_by_label("Link", exact=True)).to_have_value(re.compile("/audit/"))
    address = lecturer.get_by_label("Link", exact=True).input_value()
    lecturer.context.close()
    page = offline(chromium, site, elsewhere)
    page.goto(address)
    expect(page.get_by_role("heading", name="Evidence and sign-off")).to_be_visible()
    yield page
    page.context.close()
    assert elsewhere == []


@pytest.fixture(scope="module")
def taken(auditor: Page, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The three bundles, each by its name; how long that took is printed."""
    folder, found = tmp_path_factory.mktemp("taken"), {}
    began = time.monotonic()
    for name in NAMES:
        auditor.get_by_label("Find a name").fill(name)
        auditor.get_by_role("button", name="Find").click()
        with auditor.expect_download() as took:
            auditor.get_by_role("link", name=f"Bundle of {name}, ZIP").click()
        found[name] = folder / took.value.suggested_filename
        took.value.save_as(found[name])
    print(f"\nthree bundles in {time.monotonic() - began:.1f} s")
    return found


def test_three_bundles_are_whole_and_show_what_was_amended(auditor: Page, taken: dict[str, Path]) -> None:
    """Each is verified by command and in the browser; amendment, appeal and correction stand in page and bundle."""
    run = CliRunner()
    for file in taken.values():
        told = run.invoke(app, ["verify", str(file), "--json"])
        assert (told.exit_code, [one["follows"] for one in json.loads(told.stdout)["decisions"]]) == (0, [True])
        assert not any(part in file.name for part in ("Ines", "Olu", "Mara"))
    auditor.get_by_role("link", name="Evidence", exact=True).first.click()
    auditor.get_by_role("link", name=NAMES[0], exact=True).click()
    said = auditor.locator("#decisions")
    expect(said).to_contain_text("noise, “” to “a class at work”; left out")
    expect(said).to_contain_text("Appeal 2025-09-10")
    expect(said).to_contain_text("the decision stands")
    expect(auditor.locator("main")).to_contain_text("lapsed 10 Mar 2026")
    expect(auditor.get_by_role("button", name="Sign", exact=True)).to_have_count(0)
    with zipfile.ZipFile(taken[NAMES[0]]) as packed:
        whole = json.loads(packed.read("evidence.json"))
    assert [one["new"] for one in whole["decisions"][0]["amendments"]] == ["a class at work"]
    assert [len(one["learner"]["corrections"]) for one in whole["pairs"]].count(1) == 1


def test_one_altered_byte_of_a_bundle_is_named_by_command_and_browser(
    college: tuple[DatedSite, str], auditor: Page, taken: dict[str, Path]
) -> None:
    """A digit of a reading, inside the rows: status 1 and the row's number; the browser names the same row."""
    file, here = taken[NAMES[1]], college[0].here
    auditor.goto(f"{here}/evidence/check")
    auditor.get_by_label("Evidence bundle (ZIP)").set_input_files(file)
    auditor.get_by_role("button", name="Check the bundle").click()
    expect(auditor.get_by_role("status")).to_contain_text("every digest, file and verdict was made again")
    data = bytearray(file.read_bytes())
    at = data.index(b'\\"systolic\\":', data.index(b"reading.taken")) + len(b'\\"systolic\\":')
    data[at] ^= 2
    row = int(data[data.rindex(b'{"row":[', 0, at) + 8 : at].split(b",")[0])
    altered = file.with_name("altered.zip")
    altered.write_bytes(data)
    told = CliRunner().invoke(app, ["verify", str(altered)])
    assert (told.exit_code, f"row {row} is not what was appended" in told.stdout) == (1, True)
    auditor.goto(f"{here}/evidence/check")
    auditor.get_by_label("Evidence bundle (ZIP)").set_input_files(altered)
    auditor.get_by_role("button", name="Check the bundle").click()
    expect(auditor.get_by_role("status")).to_contain_text("Altered")
    expect(auditor.get_by_role("status")).to_contain_text(f"row {row} is not what was appended")


def test_one_altered_byte_of_the_store_is_named_by_command_and_browser(
    college: tuple[DatedSite, str], auditor: Page, taken: dict[str, Path]
) -> None:
    """The last of the tests: a digit of a stored reading; verify, the learner's page and the whole check name it."""
    site, code = college
    who = next(who for who, name in classes.names_of(site.ledger, code).items() if name == NAMES[2])
    with sqlite3.connect(site.data / FILE_NAME) as store:
        ((seq, body),) = store.execute(
            "SELECT p.seq, p.body FROM payload p JOIN journal j ON j.seq = p.seq "
            "WHERE j.kind = 'reading.taken' AND j.who = ? ORDER BY p.seq LIMIT 1",
            (who,),
        )
        changed = body.replace('"systolic":1', '"systolic":2')
        assert sum(one != other for one, other in zip(body, changed, strict=True)) == 1
        store.execute("UPDATE payload SET body = ? WHERE seq = ?", (changed, seq))
    told = CliRunner().invoke(app, ["verify", "--data", str(site.data)])
    assert (told.exit_code, f"altered: row {seq}" in told.stdout) == (1, True)
    auditor.goto(f"{site.here}/evidence/{code}/{who}")
    expect(auditor.get_by_role("alert")).to_contain_text(f"Not as appended in the store: row {seq}.")
    auditor.get_by_role("link", name="Check the whole store").click()
    expect(auditor.get_by_role("status")).to_contain_text(f"Row {seq}: what it says is not what was appended")
    auditor.goto(f"{site.here}/evidence/{code}")
    with auditor.expect_download() as took:
        auditor.get_by_role("link", name=f"Bundle of {NAMES[2]}, ZIP").click()
    told = CliRunner().invoke(app, ["verify", str(took.value.path())])
    assert (told.exit_code, f"row {seq} is not what was appended" in told.stdout) == (1, True)
    assert taken[NAMES[2]].exists()  # the bundle of before is whole still
    assert CliRunner().invoke(app, ["verify", str(taken[NAMES[2]])]).exit_code == 0
    with sqlite3.connect(site.data / FILE_NAME) as store:
        store.execute("UPDATE payload SET body = ? WHERE seq = ?", (body.replace('"systolic"', '"systolib"'), seq))
    auditor.goto(f"{site.here}/evidence/{code}/{who}")
    expect(auditor.locator("main")).to_contain_text(f"Row {seq} of the store is not as it was appended")
