"""A reader says texts, sentences and numbers in one language, and leaves what is not ours."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from hushpoint.measure import kilopascals
from hushpoint.words import ENGLISH, chosen, reader
from hushpoint.words.reader import Reader
from hushpoint.words.sentences import Sentences

GERMAN = reader("de")
MADE = Reader(
    "de",
    {
        "the first two differ by {apart} mmHg": "die ersten zwei unterscheiden sich um {apart} mmHg",
        "reading {many} of {asked}{on}": "Ablesung {many} von {asked}{on}",
        " on the left arm": " am linken Arm",
        "<b>{n}</b> of <a>them</a>": "<b>{n}</b> <a>davon</a>",
        "left": "links",
    },
    {},
)


@pytest.mark.parametrize(
    ("wanted", "accepted", "language"),
    [
        ("", "de-AT,de;q=0.9,en;q=0.8", "de"),
        ("", "fr,de;q=0.3,en;q=0.8", "en"),
        ("", "fr", "en"),
        ("", "", "en"),
        ("", "de;q=0,en", "en"),
        ("de", "en-GB", "de"),
        ("xx", "de", "de"),
        ("", "x" * 5000, "en"),
        ("", "de;q=abc, ;;;,=", "en"),
    ],
)
def test_the_language_is_the_chosen_one_or_the_best_that_is_asked_for(
    wanted: str, accepted: str, language: str
) -> None:
    """RFC 9110 section 12.5.4: weights rank, 0 refuses; a choice by hand wins; nonsense is English."""
    assert chosen(wanted, accepted) == language


def test_a_sentence_is_found_by_its_shape_and_said_with_its_parts() -> None:
    """Parts stand where the other language puts them, decimals by its habit, the first letter as it was."""
    assert MADE.sentence("the first two differ by 12.5 mmHg") == "die ersten zwei unterscheiden sich um 12,5 mmHg"
    assert MADE.sentence("The first two differ by 12 mmHg.") == "Die ersten zwei unterscheiden sich um 12 mmHg."
    two = MADE.sentence("Somebody said so. The first two differ by 3 mmHg.")
    assert two == "Somebody said so. Die ersten zwei unterscheiden sich um 3 mmHg."


def test_of_several_sentences_of_a_shape_the_one_that_leaves_least_is_said() -> None:
    """A gap that takes in half a sentence would leave it English: the sentence with gaps for each part goes first."""
    made = Sentences(
        {
            "the gauge reads {off}": "das Manometer zeigt {off}",
            "the gauge reads {off} low since {day}": "das Manometer zeigt seit {day} um {off} zu wenig",
            "low": "niedrig",
        }
    )
    assert made.found("the gauge reads 6 low since May") == "das Manometer zeigt seit May um 6 zu wenig"
    assert made.found("the gauge reads 6 low") == "das Manometer zeigt 6 niedrig"
    row = Sentences({"left {what} of it": "links {what} davon", "left half": "linke Hälfte", "all of it": "alles"})
    assert row.found("left half and all of it") == "linke Hälfte and alles"


def test_a_stop_stays_at_the_end_where_the_last_gap_moves_forward() -> None:
    """The gap at the end of the English sentence would else take the stop along into the middle of the German one."""
    made = Reader("de", {"the sounds come back at {mmhg}": "die Töne kommen bei {mmhg} wieder"}, {})
    assert made.sentence("The sounds come back at 147.") == "Die Töne kommen bei 147 wieder."
    assert made.sentence("the sounds come back at 147; then") == "die Töne kommen bei 147 wieder; then"


@pytest.mark.parametrize(
    ("text", "said"),
    [("6 low", "6 zu niedrig"), ("stethoscope", "Stethoskop"), ("limit ±3", "Grenze ±3"), ("12 to 14", "12 bis 14")],
)
def test_a_short_value_of_ours_is_said_where_a_page_asks_for_it(text: str, said: str) -> None:
    """A word, or a number with a word: too short to be told from what somebody typed, so never said unasked."""
    assert GERMAN.ours(text) == said
    assert GERMAN.ours("Stethoscope of A. B.") == "Stethoscope of A. B."
    assert reader(ENGLISH).ours(text) == text


def test_what_somebody_typed_stays_as_typed() -> None:
    """A name that is also a word of ours is no sentence; a sentence of theirs is in no catalogue."""
    assert MADE.value("left") == "left"
    assert MADE.value("Asked her to sit down") == "Asked her to sit down"
    assert MADE.say("left") == "links"


def test_values_in_a_text_are_escaped_once_and_tags_are_those_given() -> None:
    """A value with markup cannot become markup in any language."""
    text = MADE.markup("<b>{n}</b> of <a>them</a>", n="<script>&", a=Markup('<a href="/x">'))
    assert text == '<b>&lt;script&gt;&amp;</b> <a href="/x">davon</a>'
    assert '"' not in MADE.attribute("{n} of", n='say "it"')


@pytest.mark.parametrize(
    "text", ["2026-05-01", "12:30", "10.15:30", "10.0.0.7", "v1.2.3", "readings.csv", "118/72", "K1.5a"]
)
def test_dates_clocks_addresses_and_names_keep_their_points(text: str) -> None:
    """Only a number that stands alone gets a comma."""
    assert GERMAN.decimals(text) == text


def test_a_number_alone_gets_the_comma() -> None:
    """CLDR: the decimal sign of German is the comma."""
    assert GERMAN.decimals("4.5 to −1.25 mmHg/s") == "4,5 to −1,25 mmHg/s"
    assert GERMAN.decimals("SD 5.5: as in 2.1: 3") == "SD 5,5: as in 2,1: 3"
    assert GERMAN.dates("22 May 2026: repair") == "22.05.2026: repair"
    assert GERMAN.value(2.5) == "2,5"
    assert reader(ENGLISH).value(2.5) == 2.5


@given(st.text(max_size=200))
def test_any_text_comes_back_as_text(text: str) -> None:
    """No text, however odd, breaks a reader, and English is never touched."""
    assert isinstance(GERMAN.sentence(text), str)
    assert reader(ENGLISH).sentence(text) == text


@given(st.integers(0, 300), st.integers(0, 300))
def test_parts_of_a_sentence_come_back_unchanged(apart: int, other: int) -> None:
    """Numbers are carried over as they were."""
    shaped = Sentences({"they differ by {apart} and {other} mmHg": "{other} und {apart} mmHg Unterschied"})
    assert shaped.found(f"they differ by {apart} and {other} mmHg") == f"{other} und {apart} mmHg Unterschied"


@pytest.mark.parametrize(("mmhg", "kpa"), [(120, 16.0), (80, 10.7), (1, 0.1), (140, 18.7), (90, 12.0), (300, 40.0)])
def test_kilopascals_are_those_of_the_tables(mmhg: int, kpa: float) -> None:
    """1 mmHg = 0.133322387415 kPa (ISO 80000-4): 120 mmHg is 15.9987 kPa, 80 mmHg 10.6658 kPa."""
    assert kilopascals(mmhg) == kpa


def test_a_note_made_to_keep_the_reader_busy_is_left_as_typed() -> None:
    """Hundreds of the fixed parts of a sentence with many gaps: tried once each, not in every combination."""
    made = Reader("de", {"at {a}, or {b}, or {c}, or {d}, or {e}, or {f}: not": "bei {a} {b} {c} {d} {e} {f}"}, {})
    note = "at " + ", or " * 400 + ": no"
    assert made.sentence(note) == note
    assert made.sentence("at 1, or 2, or 3, or 4, or 5, or 6: not") == "bei 1 2 3 4 5 6"
