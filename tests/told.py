"""What tests print, written into a page of the manual: `pytest -m speed --told-into=docs/speed.md`.

Only what stands between the two marks of the page is replaced: a heading for each file, and for each test its sentence
and what it printed. The machine is named, because a time without its machine says nothing.
"""

from __future__ import annotations

import platform
from datetime import UTC, datetime
from pathlib import Path

import pytest

BEGIN, END = "<!-- begin: written by the tests -->", "<!-- end: written by the tests -->"


def pytest_addoption(parser: pytest.Parser) -> None:
    """One option."""
    parser.addoption("--told-into", metavar="PAGE", help="write what the tests print into this page of the manual")


def pytest_configure(config: pytest.Config) -> None:
    """Collect only where somebody asked."""
    page = config.getoption("--told-into")
    if page:
        config.pluginmanager.register(Told(Path(page)), "what is told")


class Told:
    """The printed parts of one run, in the order of the tests."""

    def __init__(self, page: Path) -> None:
        text = page.read_text(encoding="utf-8")
        if not 0 <= text.find(BEGIN) < text.find(END):
            raise pytest.UsageError(
                f"--told-into {page}: the page must hold the marks {BEGIN} and {END}, in this order"
            )
        self.page, self.parts, self.sentences, self.failed = page, {}, {}, False

    def pytest_itemcollected(self, item: pytest.Item) -> None:
        """Remember what a test says of itself, and the file that it stands in."""
        own, page = getattr(item, "obj", None), getattr(item, "module", None)
        self.sentences[item.nodeid] = (first_line(page), first_line(own))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep what was printed while the test itself ran."""
        self.failed = self.failed or report.failed
        if report.when == "call" and report.capstdout.strip():
            chapter, sentence = self.sentences[report.nodeid]
            told = self.parts.setdefault(chapter, {}).setdefault(sentence, [])
            told.append(report.capstdout.strip("\n"))
            print(f"\n{sentence}\n{report.capstdout.strip()}")

    def pytest_sessionfinish(self) -> None:
        """Write the page, unless a test failed: half a table is worse than the old one."""
        if self.failed or not self.parts:
            return
        before, _, rest = self.page.read_text(encoding="utf-8").partition(BEGIN)
        lines = [BEGIN, "", f"Measured on {machine()}, {datetime.now(UTC):%Y-%m-%d}."]
        for chapter, tests in self.parts.items():
            lines += ["", f"## {chapter}"]
            for sentence, told in tests.items():
                lines += ["", sentence, "", *as_markdown("\n".join(told))]
        after = rest.partition(END)[2]
        self.page.write_text(before + "\n".join(lines) + "\n\n" + END + after, encoding="utf-8")


def as_markdown(printed: str) -> list[str]:
    """A printed table of Markdown stays one; anything else is shown as it was printed."""
    return [printed] if printed.startswith("|") else ["```text", printed, "```"]


def first_line(of: object) -> str:
    """The first sentence of a docstring, without what it says about printing."""
    said = (getattr(of, "__doc__", None) or "").strip().split("\n\n")[0].replace("\n", " ").split(": printed")[0]
    return said.rstrip(".") + "." if of is not None and callable(of) else said.rstrip(".")


def machine() -> str:
    """Processor, number of cores, system and Python; no name of the machine itself."""
    info = Path("/proc/cpuinfo")
    names = [line.partition(":")[2].strip() for line in info.read_text().splitlines() if line.startswith("model name")]
    named = names[0] if names else platform.machine()
    return f"{len(names) or '?'} cores of {named}, {platform.system()}, Python {platform.python_version()}"


@pytest.fixture
def told_pictures(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """Where pictures go: beside the page that is being written, or nowhere that is kept."""
    page = request.config.getoption("--told-into")
    folder = Path(page).parent / "pictures" if page else tmp_path
    folder.mkdir(exist_ok=True)
    return folder
