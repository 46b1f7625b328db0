"""The manual holds together: every area of the app has its page, every page is listed, every link leads somewhere."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import yaml
from markdown import Markdown
from starlette.routing import Route

from hushpoint.web import manual_pages
from hushpoint.web.app import routes

ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted((ROOT / "docs").glob("*.md"))
READ = [*PAGES, ROOT / "README.md", ROOT / "CHANGELOG.md"]
CODE = re.compile(r"^```.*?^```|`[^`\n]*`", re.MULTILINE | re.DOTALL)
LINK = re.compile(r"!?\[[^\]]*\]\(([^()\s]*(?:\([^()\s]*\)[^()\s]*)*)\)")
MENTION = re.compile(r"\b(docs/[a-z-]+\.md|(?:src|tests|deploy)/[\w/.-]+\.(?:py|csv|json|js|mjs|service))\b")
SOURCE = re.compile(r"`([a-z_/]+\.(?:py|js|typ))`")
SOURCES = [
    f"/{path.relative_to(ROOT)}" for part in ("src", "tests") for path in (ROOT / part).rglob("*.*") if path.is_file()
]


@cache
def anchors(page: Path) -> set[str]:
    """The anchors of a page's headings, as both makers of the manual name them."""
    made = Markdown(extensions=["toc", "fenced_code", "tables"])
    return set(re.findall(r' id="([^"]+)"', made.convert(page.read_text(encoding="utf-8"))))


def paths() -> list[str]:
    """Every path of the app that a browser can open."""
    return sorted({one.path for one in routes() if isinstance(one, Route) and "GET" in (one.methods or ())})


@pytest.mark.parametrize("path", paths())
def test_every_area_of_the_app_has_its_page(path: str) -> None:
    """A new area without a page of the manual fails here."""
    assert (ROOT / "docs" / f"{manual_pages.area_page(path)}.md").is_file()


def test_every_page_is_listed_once_in_the_site_and_on_the_first_page() -> None:
    """A page that neither the site's order nor the first page names could not be found."""
    site = yaml.safe_load((ROOT / "mkdocs.yml").read_text(encoding="utf-8"))
    parts = [inner for part in site["nav"] for inner in part.values()]
    entries = [entry for part in parts for entry in ([{"": part}] if isinstance(part, str) else part)]
    listed = [path for entry in entries for path in entry.values()]
    assert sorted(listed) == [page.name for page in PAGES]
    first = (ROOT / "docs" / "index.md").read_text(encoding="utf-8")
    assert {page.name for page in PAGES} - {"index.md"} <= {link.partition("#")[0] for link in LINK.findall(first)}


@pytest.mark.parametrize("page", READ, ids=lambda page: page.name)
def test_no_link_is_dead(page: Path) -> None:
    """Files and anchors are there; addresses of elsewhere are whole by their form; files that are named exist."""
    text = page.read_text(encoding="utf-8")
    dead = []
    for target in LINK.findall(CODE.sub("", text)):
        parts = urlsplit(target)
        if parts.scheme:
            if parts.scheme != "https" or "." not in parts.netloc:
                dead.append(target)
            continue
        file = (page.parent / parts.path).resolve() if parts.path else page
        if not file.is_file() or (parts.fragment and parts.fragment not in anchors(file)):
            dead.append(target)
    dead += [named for named in SOURCE.findall(text) if not any(one.endswith(f"/{named}") for one in SOURCES)]
    dead += [named for named in MENTION.findall(text) if not (ROOT / named).is_file()]
    assert dead == []
