"""Templates are marked for translation as they are loaded; English pages stay as written."""

from __future__ import annotations

import re
from pathlib import Path

import jinja2
import pytest

from hushpoint.web.marks import marked
from hushpoint.words import reader

TEMPLATES = sorted((Path(__file__).parents[2] / "src" / "hushpoint" / "web" / "templates").glob("*.html"))


@pytest.mark.parametrize(
    ("source", "text"),
    [
        ("<p>To the content</p>", '<p>{{ _t("To the content") }}</p>'),
        ("<p> {{ n }} of {{ a.n }}\n  left </p>", '<p> {{ _t("{n} of {n2} left", n=_v(n), n2=_v(a.n)) }} </p>'),
        ('<i title="Go on" class="Go on"></i>', '<i title="{{ _a("Go on") }}" class="Go on"></i>'),
        ('{{ "open" if x == "open" else "shut" }}', '{{ _v(_("open") if x == "open" else _("shut")) }}'),
        ('<input value="{{ "open" if x }}">', '<input value="{{ "open" if x }}">'),
        ("<textarea>{{ typed }} as typed</textarea>", "<textarea>{{ typed }} as typed</textarea>"),
        ('<b>{{ x|f(" ", "a") }}</b> / {{ y }}', '<b>{{ _v(x|f(" ", "a")) }}</b> / {{ _v(y) }}'),
        ('{{ way("/kit", "Check a gauge") }}', '{{ _v(way("/kit", _("Check a gauge"))) }}'),
        ("{% block body_class %}wall{% endblock %}", "{% block body_class %}wall{% endblock %}"),
        ('<p>a <a href="/x">link</a> on</p>', None),
        ("<p>one · two</p>", '<p>{{ _t("one") }} · {{ _t("two") }}</p>'),
    ],
)
def test_a_text_becomes_one_look_up(source: str, text: str | None) -> None:
    """Text, spoken attributes and chosen words are looked up; other attributes and typed text are not."""
    expected = text or '<p>{%+ set w1 %}<a href="/x">{% endset %}{{ _t("a <a>link</a> on", a=w1) }}</p>'
    assert marked(source) == expected


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_text_of_a_template_is_left_outside_a_look_up(path: Path) -> None:
    """After marking, words stand in no place that a person reads but inside a look-up."""
    bare = re.sub(r"\{%.*?%\}|\{#.*?#\}|\{\{.*?\}\}", "", marked(path.read_text(encoding="utf-8")), flags=re.DOTALL)
    bare = re.sub(
        r"<(textarea|pre|title)\b.*?</\1>|<!?[^>]*>|&#?\w+;|mmHg(/s)?|UTC|Hushpoint", "", bare, flags=re.DOTALL
    )
    left = [one for one in re.findall(r"[^\W\d_]{2,}", bare) if one not in {"wall", "page", "sheet", "cm"}]
    assert left == []


def test_an_english_page_is_as_it_is_written() -> None:
    """Marked and unmarked templates draw the same English."""
    source = '<p title="{{ n }} of us"> {{ n }} of <a href="/{{ n }}">them &amp; us</a>'
    source += '{% if n %}, {{ "no" if m }}{% endif %}</p>'
    english = {
        "_": reader("en").say,
        "_t": reader("en").markup,
        "_a": reader("en").attribute,
        "_v": reader("en").value,
    }
    plain = jinja2.Environment(autoescape=True).from_string(source)
    looked_up = jinja2.Environment(autoescape=True).from_string(marked(source), globals=english)
    assert looked_up.render(n='<3"', m=1) == plain.render(n='<3"', m=1)
