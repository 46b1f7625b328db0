"""Every text of a template is a text to translate: marked when the template is loaded, so that none can be forgotten.

A template is written in plain English. Before Jinja reads it, each run of text between two block tags or statements
becomes one look-up in the reader's catalogue, with its expressions as `{name}` and its inline tags as `<a>`:
`<p>{{ n }} of <a href="/x">them</a></p>` asks for "{n} of <a>them</a>". So do title, aria-label, placeholder, alt and
data-label, and the words an expression chooses from (`{{ "open" if x else "closed" }}`). The values of expressions in a
text go through `_v`, which knows the sentences of the Python rooms. Other attributes are left as they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from jinja2.ext import Extension

ATTRIBUTES = ("title", "aria-label", "placeholder", "alt", "data-label")
"""The attributes that a person reads or hears."""
_INLINE = frozenset({"a", "abbr", "b", "code", "em", "i", "kbd", "small", "span", "strong", "sub", "sup", "time"})
_AS_TYPED = frozenset({"pre", "textarea"})
"""What stands in these is data: never changed."""
_CLASSES, _ENDBLOCK = re.compile(r"\{% block \w+_class %\}"), "{% endblock %}"
"""A block of CSS classes holds no text."""
_ATTRIBUTE = re.compile(rf'(?<=\s)({"|".join(ATTRIBUTES)})="')
_JINJA = re.compile(r"\{\{(?P<expr>.*?)\}\}|\{%.*?%\}|\{#.*?#\}", re.DOTALL)
_TAG = re.compile(r"</?([a-zA-Z][a-zA-Z0-9]*)|<!")
_STRING = r'"(?:[^"\\]|\\.)*"|\'(?:[^\'\\]|\\.)*\''
_LEXED = re.compile(rf"{_STRING}|[A-Za-z_][\w.]*|==|!=|\S")
_FORMAT = re.compile(r"%[+\-# 0]*[\d.]*[a-zA-Z]")
_BEFORE_WORDS = frozenset({"", "else", "or", "and", "~", "+", ":"})
_AFTER_NO_WORDS = frozenset({"==", "!=", "in", "not", "is", ":"})
_WORD = re.compile(r"[^\W\d_]")
_BETWEEN = " · "
"""Texts on one line, parted by a middle dot, are texts of their own."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """A piece of a template: kind "text", "expr", "open", "close" (inline tags) or "edge" (all that parts texts)."""

    kind: str
    raw: str
    name: str = ""


class Marked(Extension):
    """Marks every text of a template for translation."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Return the template with its texts marked."""
        return marked(source)


def marked(source: str) -> str:
    """Return a template's source with every text in a look-up: `_t` in text, `_a` in attributes, `_` in expressions."""
    out: list[str] = []
    waiting: list[_Piece] = []
    number = iter(range(1, 100_000))
    kept = ""
    for piece in _pieces(source):
        if kept:
            out.append(f"{{{{ {piece.raw} }}}}" if piece.kind == "expr" else piece.raw)
            kept = "" if kept in (piece.name, piece.raw) else kept
        elif piece.kind == "edge":
            out += [*_flow(waiting, number), _with_attributes(piece.raw) if piece.name else piece.raw]
            waiting = []
            kept = piece.name if piece.name in _AS_TYPED else _ENDBLOCK if _CLASSES.match(piece.raw) else ""
        else:
            waiting.append(piece)
    return "".join([*out, *_flow(waiting, number)])


def _pieces(source: str) -> Iterator[_Piece]:
    at = 0
    while at < len(source):
        jinja, tag = _JINJA.match(source, at), _TAG.match(source, at)
        if jinja:
            inner = jinja["expr"]
            yield _Piece("edge" if inner is None else "expr", jinja[0] if inner is None else inner.strip())
            at = jinja.end()
        elif tag:
            end = _end_of_tag(source, at)
            name = (tag[1] or "!").lower()
            kind = "edge" if name not in _INLINE else "close" if source[at + 1] == "/" else "open"
            yield _Piece(kind, source[at:end], name)
            at = end
        else:
            following = re.compile(r"\{\{|\{%|\{#|</?[a-zA-Z]|<!").search(source, at + 1)
            end = following.start() if following else len(source)
            yield _Piece("text", source[at:end])
            at = end


def _end_of_tag(source: str, at: int) -> int:
    quoted = False
    while at < len(source):
        jinja = _JINJA.match(source, at)
        if jinja:
            at = jinja.end()
            continue
        if source[at] == '"':
            quoted = not quoted
        elif source[at] == ">" and not quoted:
            return at + 1
        at += 1
    return at


def _with_attributes(tag: str) -> str:
    """Return a tag with the attributes that a person reads marked."""
    out, at = "", 0
    while found := _ATTRIBUTE.search(tag, at):
        end = found.end()
        while tag[end] != '"':
            jinja = _JINJA.match(tag, end)
            end = jinja.end() if jinja else end + 1
        out += tag[at : found.end()]
        run: list[_Piece] = []
        for piece in _pieces(tag[found.end() : end]):
            if piece.kind == "edge":
                out += _unit(run, "_a") + piece.raw
                run = []
            else:
                run.append(piece)
        out += _unit(run, "_a")
        at = end
    return out + tag[at:]


def _flow(pieces: list[_Piece], number: Iterator[int]) -> Iterator[str]:
    """Yield the marked source of a run without edges: split at tags without a partner and at middle dots."""
    partner = _partners(pieces)
    run: list[_Piece] = []
    depth = 0
    for place, piece in enumerate(pieces):
        if piece.kind in ("open", "close"):
            if place not in partner:
                yield from _run(run, number)
                yield _with_attributes(piece.raw)
                run = []
                continue
            depth += 1 if piece.kind == "open" else -1
        if piece.kind == "text" and depth == 0 and _BETWEEN in piece.raw:
            first, *others = piece.raw.split(_BETWEEN)
            run.append(_Piece("text", first))
            for other in others:
                yield from _run(run, number)
                yield _BETWEEN
                run = [_Piece("text", other)]
            continue
        run.append(piece)
    yield from _run(run, number)


def _partners(pieces: list[_Piece]) -> dict[int, int]:
    found: dict[int, int] = {}
    stack: list[int] = []
    for place, piece in enumerate(pieces):
        if piece.kind == "open":
            stack.append(place)
        elif piece.kind == "close" and stack and pieces[stack[-1]].name == piece.name:
            begun = stack.pop()
            found[begun], found[place] = place, begun
        elif piece.kind == "close":
            stack.clear()
    return found


def _run(pieces: list[_Piece], number: Iterator[int]) -> Iterator[str]:
    """Yield the marked source of a balanced run; a tag around the whole of it stays outside the text."""
    while pieces and pieces[0].kind == "text" and not pieces[0].raw.strip():
        yield pieces[0].raw
        pieces = pieces[1:]
    tail = ""
    while pieces and pieces[-1].kind == "text" and not pieces[-1].raw.strip():
        tail = pieces[-1].raw + tail
        pieces = pieces[:-1]
    if pieces and pieces[0].kind == "open" and _partners(pieces).get(0) == len(pieces) - 1:
        yield _with_attributes(pieces[0].raw)
        yield from _flow(pieces[1:-1], number)
        yield pieces[-1].raw
    elif len(parts := _parts(pieces)) > 1:
        for part in parts:
            yield from _run(part, number)
    elif not _has_words(pieces):
        for piece in pieces:
            yield _with_attributes(piece.raw) if piece.kind == "open" else _plain(piece)
    else:
        tags: list[str] = []
        named: list[_Piece] = []
        for piece in pieces:
            if piece.kind == "open" and piece.raw != f"<{piece.name}>":
                word = f"w{next(number)}"
                tags.append(f"{{%+ set {word} %}}{_with_attributes(piece.raw)}{{% endset %}}")
                named.append(_Piece("open", piece.raw, f"{piece.name} {word}"))
            else:
                named.append(piece)
        first = named[0]
        if tags and first.kind == "text":  # what stands before the first word stays before the set blocks
            lead = first.raw[: len(first.raw) - len(first.raw.lstrip())]
            yield lead
            named[0] = _Piece("text", first.raw.lstrip())
        yield "".join(tags) + _unit(named, "_t")
    yield tail


def _parts(pieces: list[_Piece]) -> list[list[_Piece]]:
    """Return the elements of a run one by one where nothing but blanks stands between them, else the run whole."""
    partner, parts, at = _partners(pieces), list[list[_Piece]](), 0
    while at < len(pieces):
        if pieces[at].kind == "open":
            parts.append(pieces[at : partner[at] + 1])
            at = partner[at] + 1
        elif pieces[at].kind == "text" and not pieces[at].raw.strip():
            parts.append([pieces[at]])
            at += 1
        else:
            return [pieces]
    return parts


def _has_words(pieces: list[_Piece]) -> bool:
    return any(
        piece.kind == "text" and _WORD.search(re.sub(r"&#?\w+;|\b(mmHg|UTC|Hushpoint)\b", "", piece.raw))
        for piece in pieces
    )


def _plain(piece: _Piece) -> str:
    return f"{{{{ _v({_with_words(piece.raw)}) }}}}" if piece.kind == "expr" else piece.raw


def _unit(pieces: list[_Piece], function: str) -> str:
    """Return one look-up for a run of text, expressions and inline tags; blanks at both ends stay outside."""
    if not _has_words(pieces):
        return "".join(map(_plain, pieces))
    text, values, used = "", [], set[str]()
    for piece in pieces:
        if piece.kind == "expr":
            name = _free(_name_of(piece.raw), used)
            text += f"{{{name}}}"
            values.append(f"{name}=_v({_with_words(piece.raw)})")
        elif piece.kind == "open" and " " in piece.name:
            tag, word = piece.name.split()
            name = _free(tag, used)
            text += f"<{name}>"
            values.append(f"{name}={word}")
        else:
            text += piece.raw
    lead, tail = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
    quoted = '"' + " ".join(text.split()).replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{lead}{{{{ {function}({', '.join([quoted, *values])}) }}}}{tail}"


def _free(name: str, used: set[str]) -> str:
    free = next(word for word in (name, *(f"{name}{n}" for n in range(2, 99))) if word not in used)
    used.add(free)
    return free


def _name_of(expression: str) -> str:
    bare = re.sub(_STRING, " ", expression)
    found = re.findall(r"(?<![|\w] )(?<![|\w.])[a-zA-Z_][\w.]*", bare)
    names = [one.rstrip(".").split(".")[-1] for one in found if one not in ("if", "else", "not", "in", "is", "none")]
    return names[0] if names else "value"


def _with_words(expression: str) -> str:
    """Return an expression with the words that it chooses from in look-ups."""
    tokens = list(_LEXED.finditer(expression))
    out, at = "", 0
    open_calls: list[bool] = []
    for place, token in enumerate(tokens):
        before = tokens[place - 1][0] if place else ""
        after = tokens[place + 1][0] if place + 1 < len(tokens) else ""
        if token[0] == "(":
            open_calls.append(bool(re.fullmatch(r"[\w.]+|[)\]]", before)) and before not in _BEFORE_WORDS)
        elif token[0] == ")" and open_calls:
            open_calls.pop()
        elif token[0][0] in "\"'":
            text = token[0][1:-1]
            chosen = before in _BEFORE_WORDS or (before == "(" and not open_calls[-1])
            chosen = chosen or (before in ("(", ",") and re.search(r"\w \w", text) is not None)  # told to a macro
            spoken = _WORD.search(_FORMAT.sub("", text)) and not text.startswith("/") and "<" not in text
            if chosen and spoken and after not in _AFTER_NO_WORDS:
                out += expression[at : token.start()] + f"_({token[0]})"
                at = token.end()
    return out + expression[at:]
