"""`python -m hushpoint.cli.words`: gather every text of the source and bring the catalogues up to date.

Texts come from five places: templates (all of them, web/marks.py), page scripts (`t("…")`), layouts of sheets
(`say("…")`), sentences of the Python rooms (every text of at least three words that is no docstring), and the tables of
the guideline room.
"""

from __future__ import annotations

import ast
import csv
import io
import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.jslexer import tokenize
from babel.messages.pofile import read_po, write_po
from jinja2.ext import babel_extract

from hushpoint.sheet.pdf import LAYOUTS, layout_texts
from hushpoint.words.reader import ENGLISH, LANGUAGES, catalogue
from hushpoint.words.sentences import LEAST_WORDS
from hushpoint.words.values import VALUES

SOURCE = Path(__file__).resolve().parents[1]
ROOMS = (
    *("measure", "ear", "agreement", "guideline", "instrument", "practice", "competence", "visit", "sheet", "desk"),
    *("web", "cli"),
)
"""The rooms whose sentences reach a page."""
IN_ENGLISH = frozenset(
    {
        *("agreement/reliability.py", "agreement/replicates.py"),
        *("desk/demo.py", "desk/demo_areas.py", "desk/visit_json.py", "guideline/own_policy.py", "guideline/tables.py"),
        *("guideline/preparticipation.py", "instrument/drift.py", "practice/log.py"),
        *("practice/forms.py", "practice/staircase.py", "sheet/fhir.py", "web/guard.py"),
        *("web/marks.py", "web/metrics.py", "cli/words.py", "cli/log_lines.py", "cli/workers.py"),
    }
)
"""Modules whose sentences are for whoever writes the file or the request that they refuse, or are sources and names."""

TABLES = {
    "clinical_bands.csv": ("name", "category", "words", "note"),
    "clinical_ladder.csv": ("limits", "to", "source"),
    "clinical_protocols.csv": ("name", "words", "note"),
    "competence_rules.csv": ("name", "text", "note", "source"),
    "teaching_policies.csv": ("name",),
    "technique_effects.csv": ("words", "note", "what", "effect"),
    "technique_steps.csv": ("moment", "step", "short", "why"),
    "today_effects.csv": ("words", "what"),
    "preparticipation.csv": ("words", "name", "advice"),
    "gauge_limits.csv": ("name", "words", "note"),
    "cuff_sizes.csv": ("name", "label"),
}
_SILENT = frozenset({"debug", "info", "warning", "error", "compile", "match", "fullmatch", "search", "sub", "text"})
"""Calls whose texts no page shows: log lines, patterns, SQL."""
_OURS_ALONE = frozenset({"ValueError", "TypeError", "RuntimeError", "KeyError"})
"""Errors of a caller in the code."""
_NO_TEXT = re.compile(
    r"Enter|Escape|Accept|Content|Tab|Space|Delete|[})].*|\{\".*|rotate.*|verdict verdict.*|input, .*|button, a, .*"
    r"|no element with .*|no store|the time route .*"
)
"""Strings of page scripts that no page shows: names of keys and headers, selectors, the ends of nested templates."""
_LETTERS = re.compile(r"[a-z]{2}")


def gathered() -> dict[str, list[tuple[str, int]]]:
    """Return every text with the places it stands in."""
    found: dict[str, list[tuple[str, int]]] = {}
    for text, path, line in (*_templates(), *_scripts(), *_rooms(), *_layouts(), *_tables(), *_values()):
        found.setdefault(text, []).append((path, line))
    return dict(sorted(found.items(), key=lambda one: (one[1][0], one[0])))


def _templates() -> Iterator[tuple[str, str, int]]:
    options = {"extensions": "hushpoint.web.marks.Marked", "trim_blocks": "true", "lstrip_blocks": "true"}
    for path in sorted((SOURCE / "web" / "templates").glob("*.html")):
        for line, _, texts, _ in babel_extract(io.BytesIO(path.read_bytes()), ("_", "_t", "_a"), (), options):
            for text in texts if isinstance(texts, tuple) else (texts,):
                if text:
                    yield str(text), f"web/templates/{path.name}", line


def _scripts() -> Iterator[tuple[str, str, int]]:
    """Yield the texts of the page scripts: every string of two words or with a capital, and every template of words."""
    for path in sorted((SOURCE / "web" / "static").glob("*.js")):
        if path.name in ("words.js", "bench_drawings.js"):
            continue
        for token in tokenize(path.read_text(encoding="utf-8")):
            if token.type in ("string", "template_string"):
                for text in _script_texts(token.value[1:-1]):
                    yield text, f"web/static/{path.name}", token.lineno


def _script_texts(source: str) -> Iterator[str]:
    """Yield a string's text with its expressions as gaps, and the strings within those expressions."""
    text, at, used = "", 0, set[str]()
    while at < len(source):
        if source.startswith("${", at):
            end, depth = at + 2, 1
            while depth and end < len(source):
                depth += {"{": 1, "}": -1}.get(source[end], 0)
                end += 1
            inner = source[at + 2 : end - 1]
            for found in re.finditer(r'"([^"]*)"|`([^`]*)`', inner):
                yield from _script_texts(found[1] if found[1] is not None else found[2])
            names = re.findall(r"[A-Za-z_]\w*", re.sub(r'"[^"]*"|`[^`]*`', "", inner))
            name = names[-1] if names else "value"
            free = next(word for word in (name, *(f"{name}{n}" for n in range(2, 99))) if word not in used)
            used.add(free)
            text += f"{{{free}}}"
            at = end
        else:
            text += source[at]
            at += 1
    text = text.strip()
    own = re.sub(r"\{\w+\}", "", text)
    if not text.isprintable() or re.search(r"[<>=_#|\\]|--|://|^/", own) or not re.search(r"[a-z]{2}", own):
        return
    if not _NO_TEXT.fullmatch(text) and (re.fullmatch(r"[A-Z][a-z]+:?", text) or _speaks(text, own)):
        yield text


def _speaks(text: str, own: str) -> bool:
    words = re.findall(r"[A-Za-z]{2,}", own)
    classes = re.fullmatch(r"[a-z]+(-[a-z]+)+( [a-z-]+)*|[a-z-]+ [a-z]+-[a-z-]+", text) is not None
    return " " in text and not classes and (len(words) >= 2 or bool(words and words[0][0].isupper()) or "{" in text)


def _rooms() -> Iterator[tuple[str, str, int]]:
    for room in ROOMS:
        for path in sorted((SOURCE / room).glob("*.py")):
            if f"{room}/{path.name}" in IN_ENGLISH:
                continue
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for text, line in (*_sentences(tree), *_command_helps(tree)):
                yield text, f"{room}/{path.name}", line


def _command_helps(tree: ast.Module) -> Iterator[tuple[str, int]]:
    """Yield what the help says of each command: the text under its name."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and any("app.command" in ast.unparse(one) for one in node.decorator_list):
            yield ast.get_docstring(node) or node.name, node.lineno


def _layouts() -> Iterator[tuple[str, str, int]]:
    for path in sorted(LAYOUTS.glob("*.typ")):
        for text, line in layout_texts(path.stem):
            yield text, f"sheet/layouts/{path.name}", line


def _tables() -> Iterator[tuple[str, str, int]]:
    for name, columns in TABLES.items():
        with (SOURCE / "guideline" / "data" / name).open(encoding="utf-8", newline="") as file:
            for line, row in enumerate(csv.DictReader(file), start=2):
                for column in columns:
                    if _LETTERS.search(row.get(column) or ""):
                        yield row[column], f"guideline/data/{name}", line


def _values() -> Iterator[tuple[str, str, int]]:
    for text in VALUES:
        yield text, "words/values.py", 1


def _sentences(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """Yield each sentence of a module, an f-string's expressions as gaps."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):  # a docstring
            continue
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in _SILENT or name in _OURS_ALONE:
                continue
        if isinstance(node, ast.JoinedStr):
            text = _with_gaps(node)
            if _is_sentence(text):
                yield text, node.lineno
            for part in node.values:
                if isinstance(part, ast.FormattedValue):
                    yield from _sentences(ast.Expression(part.value))
        elif isinstance(node, ast.Constant):
            if isinstance(node.value, str) and _is_sentence(node.value):
                yield node.value, node.lineno
        else:
            yield from _sentences(node)


def _with_gaps(node: ast.JoinedStr) -> str:
    text, used = "", set[str]()
    for part in node.values:
        if isinstance(part, ast.Constant):
            text += str(part.value)
        elif isinstance(part, ast.FormattedValue):
            names = [
                one.attr if isinstance(one, ast.Attribute) else getattr(one, "id", "")
                for one in ast.walk(part.value)
                if isinstance(one, ast.Attribute | ast.Name)
            ]
            name = next((one.strip("_") for one in names if one.strip("_")), "value")
            free = next(word for word in (name, *(f"{name}{n}" for n in range(2, 99))) if word not in used)
            used.add(free)
            text += f"{{{free}}}"
    return text


def _is_sentence(text: str) -> bool:
    own = re.sub(r"\{\w+\}", "", text)
    words = re.findall(r"[^\W\d_]{2,}", own)
    if "[" in own or "|" in own or "'self'" in own:  # a type in quotation marks, a header
        return False
    return len(text.split()) >= LEAST_WORDS and len(words) >= 2 and bool(_LETTERS.search(own)) and text.isprintable()


def brought_up_to_date(language: str) -> tuple[Catalog, list[str]]:
    """Return a language's catalogue with exactly the texts of the source, and those without a translation."""
    path = catalogue(language)
    kept: dict[str, Any] = {}
    if path.exists():
        with path.open("rb") as file:
            kept = {str(one.id): one.string for one in read_po(file, locale=language) if one.id}
    fresh = Catalog(
        locale=language,
        domain="hushpoint",
        project="Hushpoint",
        header_comment="# Texts of Hushpoint: English as in the source, and this language beside it.",
        creation_date=datetime(2026, 1, 1, tzinfo=UTC),
        revision_date=datetime(2026, 1, 1, tzinfo=UTC),
        fuzzy=False,
    )
    missing = []
    for text, places in gathered().items():
        fresh.add(text, kept.get(text, ""), locations=sorted({(path, 0) for path, _ in places}))
        if not kept.get(text):
            missing.append(text)
    return fresh, missing


def main() -> int:
    """Write every catalogue anew and say what has no translation yet; status 1 where something has none."""
    wanting = 0
    for language in LANGUAGES:
        if language == ENGLISH:
            continue
        fresh, missing = brought_up_to_date(language)
        path = catalogue(language)
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            write_po(file, fresh, width=120, include_lineno=False)
        wanting += len(missing)
        sys.stderr.write(f"{language}: {len(fresh)} texts, {len(missing)} without a translation\n")
        sys.stdout.writelines(f"{text}\n" for text in missing)
    return 1 if wanting else 0


if __name__ == "__main__":
    sys.exit(main())
