"""An institution's own pass rules, from a CSV file of the form of guideline/data/competence_rules.csv."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from hushpoint.desk.csv_file import CsvFileError, bytes_of, own_file, told_name
from hushpoint.guideline.competence_rules import PassRule, competence_rules, read_competence_rules

if TYPE_CHECKING:
    from collections.abc import Mapping


def parse_rules(data: bytes, file_name: str) -> tuple[Mapping[str, PassRule], str]:
    """Return the rules in a file's bytes by id, and its text; raises CsvFileError, also for a shipped rule's id."""
    rules, text = own_file(data, file_name, read_competence_rules)
    taken = sorted(rules.keys() & competence_rules().keys())
    if taken:
        raise CsvFileError(f"{told_name(file_name)}: id {taken[0]} is a shipped rule; another id is needed")
    return rules, text


def read_own_rules(path: Path) -> Mapping[str, PassRule]:
    """Return the rules in a file by id. Raises CsvFileError, one line."""
    return parse_rules(bytes_of(path), path.name)[0]
