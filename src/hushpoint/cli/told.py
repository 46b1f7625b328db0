"""What commands tell a person, in the language of the terminal: every line goes through here on its way out.

JSON, CSV and everything else that a program reads is printed as it is, in English whatever the language.
"""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Any

import typer.core

if TYPE_CHECKING:
    from hushpoint.words import Reader

OWN = "HUSHPOINT_LANGUAGE"
"""Asks for a language of this command alone; else the first that is set of the three that every program heeds."""
_HEEDED = ("LC_ALL", "LC_MESSAGES", "LANG")
_HEADINGS = ("Usage:", "Options:", "Arguments:", "Commands:", "Show this message and exit.", "[required]")


def language() -> str:
    """Return the language that the environment asks for, such as "de"; "en" where it asks for none."""
    asked = os.environ.get(OWN) or next((value for name in _HEEDED if (value := os.environ.get(name))), "")
    return asked.partition(".")[0].partition("_")[0].partition("-")[0].lower() or "en"


def teller() -> Reader | None:
    """Return who tells in another language than English, None for English: its catalogue is read on first use."""
    asked = language()
    if asked in ("en", "c", "posix"):
        return None
    from hushpoint.words import LANGUAGES, reader

    return reader(asked) if asked in LANGUAGES else None


def said(text: str) -> str:
    """Return a text of ours as the terminal's language says it, line by line; indents stay."""
    to = teller()
    if to is None:
        return text
    lines = []
    for line in text.split("\n"):
        bare = line.strip()
        lines.append(line.replace(bare, to.ours(bare), 1) if bare else line)
    return "\n".join(lines)


def tell(line: str, *, flush: bool = False) -> None:
    """Print a result for a person."""
    print(said(line), flush=flush)  # noqa: T201


def note(line: str, *, before: str = "") -> None:
    """Print words about the work, on standard error; what stands before them is no text of ours."""
    print(before + said(line), file=sys.stderr)  # noqa: T201


class Command(typer.core.TyperCommand):
    """A command whose help speaks the terminal's language."""

    def get_help(self, ctx: Any) -> str:
        """Return its help."""
        _say_help(self)
        return _headings_said(str(super().get_help(ctx)))


class Group(typer.core.TyperGroup):
    """The list of commands in the terminal's language."""

    def get_help(self, ctx: Any) -> str:
        """Return the list with a line for each command."""
        _say_help(self)
        for command in self.commands.values():
            _say_help(command)
        return _headings_said(str(super().get_help(ctx)))


def _say_help(command: Any) -> None:
    if teller() is None:
        return
    command.help = said(command.help or "")
    for each in command.params:
        if getattr(each, "help", None):
            each.help = said(each.help)


def _headings_said(text: str) -> str:
    to = teller()
    if to is not None:
        for heading in _HEADINGS:
            text = text.replace(heading, to.say(heading))
    return text
