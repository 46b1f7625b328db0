"""The steps of docs/languages.md give a language more."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest
from babel.messages.pofile import read_po, write_po

from hushpoint.cli import words as command

reading = importlib.import_module("hushpoint.words.reader")
"""The module: the package gives its function the same name."""


def test_a_language_is_added_by_the_steps_of_its_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Named, written out with empty texts, one filled in: that one is said, the others stay English."""
    more = {**reading.LANGUAGES, "fr": "Français"}
    monkeypatch.setattr(reading, "HERE", tmp_path)
    monkeypatch.setattr(reading, "LANGUAGES", {"en": "English", "fr": "Français"})
    monkeypatch.setattr(command, "LANGUAGES", {name: more[name] for name in ("en", "fr")})
    assert command.main() == 1
    assert "without a translation" in capsys.readouterr().err
    path = reading.catalogue("fr")
    with path.open("rb") as file:
        found = read_po(file, locale="fr")
    found["Nobody talks."].string = "Personne ne parle."
    with path.open("wb") as file:
        write_po(file, found)
    reading.reader.cache_clear()
    french = reading.reader("fr")
    reading.reader.cache_clear()
    assert french.say("Nobody talks.") == "Personne ne parle."
    assert french.say("Everything") == "Everything"
    assert french.sentence("2.5 mmHg/s on 2026-11-25") == "2,5 mmHg/s on 25 nov. 2026"
    assert reading.chosen("fr", "") == "fr"
