"""Nothing a person can call, open, set or find in the journal goes undescribed in docs/reference.md."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest
import typer
from starlette.routing import Mount, Route

from hushpoint.cli.main import app as command_line
from hushpoint.ledger.records import Kind
from hushpoint.web.app import routes
from hushpoint.wiring import Settings
from manual_blocks import DOCS, typed_in

REFERENCE = (Path(__file__).resolve().parents[2] / "docs" / "reference.md").read_text(encoding="utf-8")


def commands_with_options() -> list[str]:
    """Each command and option as a person types it."""
    group = typer.main.get_command(command_line)
    typed = []
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        typed.append(f"hushpoint {name}")
        typed += [option for parameter in command.params for option in parameter.opts if option.startswith("--")]
    return sorted(set(typed) - {"--help"})


def options_of_commands() -> list[tuple[str, str]]:
    """Each command with each of its options."""
    group = typer.main.get_command(command_line)
    return sorted(
        (name, option)
        for name, command in group.commands.items()  # type: ignore[attr-defined]
        for parameter in command.params
        for option in parameter.opts
        if option.startswith("--") and option != "--help"
    )


def paths(table: list[Route | Mount]) -> list[str]:
    """Each route's path as docs write it, converters left out."""
    return sorted({str(route.path_format) for route in table if hasattr(route, "path_format")})


@pytest.mark.parametrize("typed", commands_with_options())
def test_every_command_and_option_is_described(typed: str) -> None:
    """A command or option absent from the reference fails here."""
    assert f"`{typed}" in REFERENCE


def test_every_option_is_described_for_its_own_command() -> None:
    """The table of options names, in its second column, every command that takes the option."""
    told = set()
    for line in REFERENCE.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("| `--") and len(cells) >= 4:
            commands = re.findall(r"[a-z][a-z-]*", cells[1])
            told |= {(command, option) for command in commands for option in re.findall(r"`(--[a-z-]+)`", cells[0])}
    assert set(options_of_commands()) - told == set()


def test_every_command_has_an_example_that_the_tests_run() -> None:
    """docs/commands.md calls each command once at least."""
    typed = {one.command for one in typed_in(DOCS / "commands.md")}
    assert typed == {command for command, _ in options_of_commands()} | typed


@pytest.mark.parametrize("path", paths(routes()))
def test_every_route_is_described(path: str) -> None:
    """A route absent from the reference fails here."""
    assert f"`{path}`" in REFERENCE


@pytest.mark.parametrize("name", [field.name for field in dataclasses.fields(Settings)])
def test_every_setting_is_described(name: str) -> None:
    """A setting absent from the reference fails here."""
    assert f"`{name}`" in REFERENCE


@pytest.mark.parametrize("kind", [str(kind) for kind in Kind])
def test_every_journal_kind_is_described(kind: str) -> None:
    """A journal kind absent from the reference fails here."""
    assert f"`{kind}`" in REFERENCE
