"""The manual inside the app and as a site: every page drawn, every link and picture there, nothing from elsewhere."""

from __future__ import annotations

import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.web.manual_pages import manual_page
from hushpoint.wiring import Settings, build

ROOT = Path(__file__).resolve().parents[2]
NAMES = sorted(page.stem for page in (ROOT / "docs").glob("*.md"))


class Links(HTMLParser):
    """The addresses a page leads to, the anchors it has, and attributes that the page's own policy forbids."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.to: set[str] = set()
        self.anchors: set[str] = set()
        self.forbidden: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take one tag in."""
        for name, value in attrs:
            if name in ("href", "src") and value:
                self.to.add(value)
            elif name == "id" and value:
                self.anchors.add(value)
            elif name == "style" or name.startswith("on"):
                self.forbidden.append(f"{tag} {name}")


@pytest.fixture(scope="module")
def reader(tmp_path_factory: pytest.TempPathFactory) -> TestClient:
    """A stranger."""
    return TestClient(
        build(Settings(data_dir=tmp_path_factory.mktemp("manual")), MemoryLedger()), client=("127.0.0.1", 1)
    )


def test_every_page_is_drawn_and_all_it_leads_to_answers(reader: TestClient) -> None:
    """Pages, anchors and pictures are there; nothing that the content policy would block is asked for."""
    pages = {f"/manual/{name}": reader.get(f"/manual/{name}") for name in NAMES} | {"/manual": reader.get("/manual")}
    found = {path: Links(answer.text) for path, answer in pages.items()}
    wrong = [(path, answer.status_code) for path, answer in pages.items() if answer.status_code != 200]
    seen: dict[str, int] = {}
    for path, links in found.items():
        wrong += [(path, one) for one in links.forbidden]
        for target in links.to:
            where, _, anchor = target.partition("#")
            if target.startswith("https://"):
                continue
            where = where or path
            if where.startswith("/manual") and where in found:
                if anchor and anchor not in found[where].anchors:
                    wrong.append((path, target))
            else:
                seen[where] = seen.get(where) or reader.get(where).status_code
                if seen[where] not in (200, 401):
                    wrong.append((path, target))
    assert wrong == []


@pytest.mark.parametrize("name", NAMES)
def test_no_list_runs_into_the_paragraph_before_it(name: str) -> None:
    """A list without an empty line before it would be drawn as one long paragraph."""
    drawn = re.sub(r"<pre.*?</pre>", "", manual_page(name).html, flags=re.DOTALL)
    paragraphs = re.findall(r"<p>.*?</p>", drawn, flags=re.DOTALL)
    assert [one[:100] for one in paragraphs if re.search(r"\n(?:- |\d\. )\S", one)] == []


def test_a_mention_of_a_page_is_a_link_and_a_table_tells_its_cells(reader: TestClient) -> None:
    """docs/NAME.md becomes a link by the page's title; on a phone each cell of a table says what it is."""
    text = reader.get("/manual/for-lecturers").text
    assert "docs/visit.md" not in text
    assert re.search(r'<a href="/manual/visit">A client.s visit</a>', text)
    assert '<td data-label="Word">' in reader.get("/manual/words").text


def test_what_is_not_there_is_refused_in_one_line(reader: TestClient) -> None:
    """Nothing outside the manual's folder can be asked for."""
    for path in ("/manual/nothing", "/manual/..%2Fpyproject", "/manual/pictures/..%2Findex.md", "/manual/%00"):
        answer = reader.get(path)
        assert answer.status_code == 404
        assert "no such" in answer.json()["error"]


def test_each_page_of_the_app_leads_to_its_own_page(reader: TestClient) -> None:
    """At the foot, by area; where a page is refused, too."""
    for path, page in (("/", "/manual"), ("/cuff", "/manual/instrument"), ("/agreement", "/manual/agreement"),
                       ("/client", "/manual/measure-a-client"), ("/no/such/page", "/manual")):  # fmt: skip
        text = reader.get(path, headers={"accept": "text/html"}).text
        assert f'<a href="{page}">' in text.partition("<footer")[2]


def test_the_site_builds_without_a_warning_and_asks_nothing_of_elsewhere(tmp_path: Path) -> None:
    """`mkdocs build --strict`; no script, style, font or picture of the site comes from another server."""
    made = subprocess.run(
        [Path(sys.executable).with_name("mkdocs"), "build", "-q", "--strict", "--site-dir", tmp_path / "site"],
        check=False, cwd=ROOT, capture_output=True, text=True,
    )  # fmt: skip
    assert (made.returncode, made.stdout + made.stderr) == (0, "")
    for page in (tmp_path / "site").glob("*.html"):
        text = page.read_text(encoding="utf-8")
        assert not re.search(r'<(?:script|img|link)[^>]+(?:src|href)="(?:https?:)?//', text)
    for style in (tmp_path / "site").rglob("*.css"):
        assert not re.search(r"url\([\"']?(?:https?:)?//", style.read_text(encoding="utf-8"))
