"""Figures are written between two marks of a page, and a page is never left half written."""

from __future__ import annotations

from pathlib import Path

import pytest

import told

ONE = '''"""A chapter: printed, never asserted."""


def test_one() -> None:
    """One sentence."""
    print("| a | b |\\\\n|---|---|\\\\n| 1 | 2 |")


def test_two() -> None:
    """Another sentence."""
    print("3 ms")
    assert {right}
'''

pytest_plugins = ["pytester"]


@pytest.mark.parametrize("right", [True, False])
def test_what_is_printed_goes_between_the_marks(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch, right: bool
) -> None:
    """A table stays a table, a line is shown as printed, the rest of the page stays; a failing run writes nothing."""
    monkeypatch.setenv("PYTHONPATH", str(Path(told.__file__).parent))
    page = pytester.path / "page.md"
    before = f"# Page\n\n{told.BEGIN}\nold\n{told.END}\n\nafter\n"
    page.write_text(before, encoding="utf-8")
    pytester.makepyfile(ONE.format(right=right).replace("\\\\n", "\\n"))
    pytester.runpytest_subprocess("-p", "told", "--told-into", str(page), f"--rootdir={pytester.path}")
    found = page.read_text(encoding="utf-8")
    if not right:
        assert found == before
        return
    assert found.startswith(f"# Page\n\n{told.BEGIN}\n\nMeasured on ")
    assert "## A chapter\n\nOne sentence.\n\n| a | b |\n|---|---|\n| 1 | 2 |\n" in found
    assert found.endswith(f"Another sentence.\n\n```text\n3 ms\n```\n\n{told.END}\n\nafter\n")


def test_a_page_without_marks_is_refused(tmp_path: Path) -> None:
    """One line, before any test runs."""
    page = tmp_path / "page.md"
    page.write_text("# Page\n", encoding="utf-8")
    with pytest.raises(pytest.UsageError, match="must hold the marks"):
        told.Told(page)
