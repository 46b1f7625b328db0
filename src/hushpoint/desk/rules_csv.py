"""An institution's own pass rules, from a CSV file of the form of guideline/data/competence_rules.csv."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

from hushpoint.desk.csv_file import CsvFileError, bytes_of, told_name
from hushpoint.guideline.competence_rules import PassRule, competence_rules, read_competence_rules
from hushpoint.guideline.tables import TableError

if TYPE_CHECKING:
    from collections.abc import Mapping

LARGEST_BYTES = 1_000_000
LONGEST_LINE = 300


def parse_rules(data: bytes, file_name: str) -> tuple[Mapping[str, PassRule], str]:
    """Return the rules in a file's bytes by id, and its text; raises CsvFileError, also for a shipped rule's id."""
    name = told_name(file_name)
    if len(data) > LARGEST_BYTES:
        raise CsvFileError(f"{name}: larger than {LARGEST_BYTES // 1_000_000} MB, the most that is read")
    try:
        text = data.decode("utf-8-sig")
        rules = read_competence_rules(text, name)
    except UnicodeDecodeError:
        raise CsvFileError(f"{name}: not UTF-8; save the file as UTF-8") from None
    except csv.Error as refusal:
        raise CsvFileError(f"{name}: not readable as CSV ({str(refusal)[:80]}); check the quotation marks") from None
    except TableError as refusal:
        raise CsvFileError(str(refusal)[:LONGEST_LINE].encode("unicode_escape").decode()) from None
    taken = sorted(rules.keys() & competence_rules().keys())
    if taken:
        raise CsvFileError(f"{name}: id {taken[0]} is a shipped rule; another id is needed")
    return rules, text


def read_own_rules(path: Path) -> Mapping[str, PassRule]:
    """Return the rules in a file by id. Raises CsvFileError, one line."""
    return parse_rules(bytes_of(path), path.name)[0]
