"""Each catalogue holds exactly the texts of the source, each translated, with the same gaps and tags."""

from __future__ import annotations

import re

import pytest
from babel.messages.pofile import read_po

from hushpoint.cli.words import brought_up_to_date, gathered
from hushpoint.words.reader import ENGLISH, LANGUAGES, catalogue

OTHERS = [language for language in LANGUAGES if language != ENGLISH]
GAPS = re.compile(r"\{\w+\}|</?\w+>|%[\d.]*[a-z]")


def kept(language: str) -> dict[str, str]:
    """What the committed catalogue holds."""
    with catalogue(language).open("rb") as file:
        known = list(read_po(file, locale=language))
    assert not [one.id for one in known if one.id and one.fuzzy]
    return {str(one.id): str(one.string) for one in known if one.id}


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_holds_the_texts_of_the_source_and_no_others(language: str) -> None:
    """A text that was changed, added or taken away fails here until `python -m hushpoint.cli.words` has run."""
    assert set(kept(language)) == set(gathered())


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_is_translated(language: str) -> None:
    """No text is left in English by mistake."""
    assert brought_up_to_date(language)[1] == []


@pytest.mark.parametrize("language", OTHERS)
def test_gaps_and_tags_of_a_translation_are_those_of_its_text(language: str) -> None:
    """A gap that is missing would swallow a number; one too many would show its name."""
    wrong = {
        text: said for text, said in kept(language).items() if sorted(GAPS.findall(text)) != sorted(GAPS.findall(said))
    }
    assert wrong == {}


@pytest.mark.parametrize("language", OTHERS)
def test_no_translation_reassures_or_diagnoses(language: str) -> None:
    """Words that never stand before a person in English do not come in by a translation."""
    never = {"de": r"\bPatient|Sie haben Hypertonie|\bunbedenklich|\bkerngesund|alles in Ordnung|\bperfekt"}[language]
    assert [said for said in kept(language).values() if re.search(never, said)] == []
