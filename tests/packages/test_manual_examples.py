"""Every example of the manual does what the page shows: commands, files, and the library's prompts."""

from __future__ import annotations

import doctest
import io
import os
import shlex
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from hushpoint.cli.main import run
from hushpoint.cli.serve import _demo_ready
from manual_blocks import PAGES, Typed, typed_in
from serving import COMMAND, free_port

ELLIPSIS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
SERVERS = ("serve", "demo")
WITH_PROMPTS = [page for page in PAGES if ">>> " in page.read_text(encoding="utf-8")]
WITH_COMMANDS = [page for page in PAGES if typed_in(page)]


@pytest.fixture(scope="module")
def college(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `hushpoint demo` makes before it answers."""
    folder = tmp_path_factory.mktemp("college") / "demo-data"
    _demo_ready(folder)
    (folder / "FULL").touch()  # what is made beside the first pages is not needed here
    return folder


class Terminal:
    """A folder in which a page's lines are typed one after another."""

    def __init__(self) -> None:
        self.status = 0

    def answer(self, typed: Typed) -> str:
        """Type one line and return what the terminal shows."""
        line, _, into = typed.line.partition(" > ")
        line, _, from_file = line.partition(" < ")
        words = shlex.split(line)
        if words[0] == "cat":
            return self.written(Path(words[1]), typed.shown)
        if line == "echo $?":
            return f"{self.status}\n"
        if words[0] == "ls":
            return "".join(f"{one.name}\n" for one in sorted(Path(words[1]).iterdir()))
        assert words[0] == "hushpoint", line
        if words[1] in SERVERS and "--help" not in words:
            return self.served(words[1:])
        shown = self.called(words, Path(from_file).read_text(encoding="utf-8") if from_file else "")
        if into:
            Path(into.strip()).write_text(shown, encoding="utf-8")
            return ""
        return shown

    def called(self, words: list[str], given: str) -> str:
        """Call the command in this process."""
        screen = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(sys, "argv", words)
            patch.setattr(sys, "stdout", screen)
            patch.setattr(sys, "stderr", screen)
            patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(given.encode()), encoding="utf-8"))
            with pytest.raises(SystemExit) as left:
                run()
        self.status = int(left.value.code or 0)
        screen.flush()
        return screen.buffer.getvalue().decode()

    def served(self, words: list[str]) -> str:
        """Start a server on a port that is free, wait until it answers, stop it; the page shows the usual port."""
        port = free_port()
        process = subprocess.Popen(
            [*COMMAND, *words, "--port", str(port)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        try:
            for _ in range(300):
                try:
                    with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=1):
                        break
                except OSError:
                    assert process.poll() is None
                    time.sleep(0.1)
            else:
                raise AssertionError("the server does not answer")
        finally:
            process.send_signal(signal.SIGINT)
        shown, _ = process.communicate(timeout=30)
        return shown.replace(str(port), "8100")

    def written(self, file: Path, shown: str) -> str:
        """Show a file; one that is not there yet is the reader's to write, as the page shows it."""
        if not file.exists():
            file.write_text(shown, encoding="utf-8")
        return file.read_text(encoding="utf-8")


@pytest.mark.parametrize("page", WITH_COMMANDS, ids=lambda page: page.stem)
def test_every_line_typed_answers_as_the_page_shows(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    """In an empty folder, in the page's order; `...` stands for what differs from day to day."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")
    if "demo-data" in page.read_text(encoding="utf-8"):
        shutil.copytree(request.getfixturevalue("college"), tmp_path / "demo-data")
    terminal, same, wrong = Terminal(), doctest.OutputChecker(), []
    for typed in typed_in(page):
        got = terminal.answer(typed)
        if not same.check_output(typed.shown, got, ELLIPSIS):
            wrong.append(f"$ {typed.line}\n-- shown\n{typed.shown}-- got\n{got}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("page", WITH_PROMPTS, ids=lambda page: page.stem)
def test_every_prompt_answers_as_the_page_shows(page: Path) -> None:
    """What stands after >>> is run by doctest."""
    found = doctest.testfile(str(page), module_relative=False, optionflags=doctest.ELLIPSIS)
    assert found.failed == 0
    assert found.attempted > 0
