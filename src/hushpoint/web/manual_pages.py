"""The manual: docs/*.md drawn in the app's own look, and which page belongs to which area of the app.

The same files make a site (mkdocs.yml), to which this module gives its links between pages as well.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hushpoint.errors import NotFoundError

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

FIRST = "index"
EXTENSIONS = ("tables", "fenced_code", "toc", "sane_lists")
"""What the pages use of Markdown; mkdocs.yml asks for the same."""
_AREAS = (
    (r"/class/[^/]+/(pairs|technique)|/class/[^/]+/learner/[^/]+/pairs|/practise/pairs", "pairs"),
    (r"/class/[^/]+/(rounds|papers)|/practise/(papers|attempts|rounds?|check|time)", "papers"),
    (r"/class/[^/]+/whose|/whose|/agreement", "agreement"),
    (r"/class/[^/]+/(rotation|lesson|findings)|/practise/(rotation|questions|measured|results)", "path"),
    (r"/class|/policy", "first-class"),
    (r"/practise|/join", "practise-alone"),
    (r"/client", "measure-a-client"),
    (r"/kit/recall", "recall"),
    (r"/kit/due|/kit/[^/]+/checks?", "check-a-gauge"),
    (r"/kit|/k", "kit"),
    (r"/cuff", "instrument"),
    (r"/recordings", "read-a-recording"),
    (r"/evidence", "sign-off"),
    (r"/audit", "for-auditors"),
    (r"/access|/metrics|/healthz", "for-it"),
    (r"/words|/habits", "languages"),
    (r"/undo|/leave", "undo"),
    (r"/manual", FIRST),
)
"""Which page of the manual belongs to which paths of the app: the first pattern that fits counts."""
_CODE_OR_MENTION = re.compile(
    r"^```.*?^```|`docs/(?P<coded>[a-z-]+)\.md`|`[^`\n]*`|\bdocs/(?P<plain>[a-z-]+)\.md", re.M | re.S
)
_LINK = re.compile(r"([a-z-]+)\.md(#.*)?")


@dataclass(frozen=True, slots=True)
class ManualPage:
    """A page drawn: its title, its HTML, and its parts as (anchor, heading)."""

    title: str
    html: str
    parts: tuple[tuple[str, str], ...]


def folder() -> Path:
    """Return where the pages lie: inside the package where it was installed, in docs/ of a checkout."""
    inside = Path(__file__).parents[1] / "manual"
    return inside if inside.is_dir() else Path(__file__).parents[3] / "docs"


def area_page(path: str) -> str:
    """Return the name of the page for a path of the app; "" where none was named for it."""
    return next(
        (name for pattern, name in _AREAS if re.match(rf"({pattern})(/|$)", path)), FIRST if path == "/" else ""
    )


def address(path: str) -> str:
    """Return where the app shows the page for one of its paths."""
    name = area_page(path) or FIRST
    return "/manual" if name == FIRST else f"/manual/{name}"


def manual_page(name: str) -> ManualPage:
    """Return a page; raise NotFoundError where the manual has none of this name."""
    return _drawn(_text(name))


def picture(name: str) -> Path:
    """Return the file of a picture; raise NotFoundError where the manual has none of this name."""
    found = next((one for one in (folder() / "pictures").glob("*.*") if one.name == name), None)
    if found is None:
        raise NotFoundError("The manual has no such picture.")
    return found


def on_page_markdown(markdown: str, **_: Any) -> str:
    """Return a page with each mention of another page (docs/NAME.md) as a link by its title; a hook of MkDocs."""

    def linked(found: re.Match[str]) -> str:
        name = found["coded"] or found["plain"]
        return f"[{_title(_text(name))}]({name}.md)" if name else found[0]

    return _CODE_OR_MENTION.sub(linked, markdown)


def _text(name: str) -> str:
    found = next((one for one in folder().glob("*.md") if one.stem == name), None)
    if found is None:
        raise NotFoundError("The manual has no such page. Its pages stand at /manual.")
    return found.read_text(encoding="utf-8")


def _title(text: str) -> str:
    return text.partition("\n")[0].removeprefix("# ")


@lru_cache(maxsize=64)
def _drawn(text: str) -> ManualPage:
    from markdown import Markdown

    made = Markdown(extensions=list(EXTENSIONS))
    made.treeprocessors.register(_InTheApp(), "in the app", 5)
    html = made.convert(on_page_markdown(text))
    parts = [one for top in made.toc_tokens for one in (top, *top["children"])][1:]
    return ManualPage(_title(text), html, tuple((one["id"], one["name"]) for one in parts))


class _InTheApp:
    """Links lead to the app's addresses; on a phone the cells of a table say what they are."""

    def run(self, root: Element) -> None:
        """Change a page's tree."""
        for link in root.iter("a"):
            if found := _LINK.fullmatch(link.get("href", "")):
                link.set("href", ("/manual" if found[1] == FIRST else f"/manual/{found[1]}") + (found[2] or ""))
        for image in root.iter("img"):
            image.set("src", f"/manual/{image.get('src')}")
            image.set("loading", "lazy")
        for table in root.iter("table"):
            table.set("class", "stack")
            heads = ["".join(one.itertext()) for one in table.iter("th")]
            for row in table.iter("tr"):
                for head, cell in zip(heads, row.findall("td"), strict=False):
                    if head:
                        cell.set("data-label", head)
