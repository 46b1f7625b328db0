"""Pass rules: the shipped ones and an institution's own, adopted from a file once their odds were seen."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass

from hushpoint.competence import PassOdds, pass_odds
from hushpoint.desk.judging import ODDS_SHOWN
from hushpoint.desk.rules_csv import parse_rules
from hushpoint.desk.standing import standing
from hushpoint.guideline.competence_rules import (
    PassRule,
    competence_rule,
    competence_rules,
    read_competence_rules,
)
from hushpoint.guideline.tables import package_text
from hushpoint.ledger.records import Entry, Kind, Ledger


@dataclass(frozen=True, slots=True)
class RuleOdds:
    """A rule with how often it passes an observer who is like `what`, on its own set."""

    rule: PassRule
    odds: tuple[tuple[str, PassOdds], ...]


def odds_of(rule: PassRule) -> RuleOdds:
    """Return a rule with its odds, computed exactly."""
    return RuleOdds(rule, tuple((what, pass_odds(rule, bias, sd)) for what, bias, sd in ODDS_SHOWN))


def adopt(ledger: Ledger, data: bytes, name: str) -> Mapping[str, PassRule]:
    """Keep an institution's own rules; a later one of the same id takes its place. Raises CsvFileError."""
    rules, text = parse_rules(data, name)
    ledger.append(Entry(Kind.RULE_ADOPTED, {"ids": sorted(rules), "text": text}))
    return rules


def known_rules(ledger: Ledger) -> Mapping[str, PassRule]:
    """Return the shipped and the adopted rules by id."""
    return {**competence_rules(), **_adopted(ledger)}


def known_rule(ledger: Ledger, rule_id: str) -> PassRule:
    """Return a shipped or adopted rule; raises BadInputError with the list where there is none."""
    return competence_rule(rule_id, _adopted(ledger))


def rule_text(ledger: Ledger, rule_id: str) -> str:
    """Return one rule as CSV of its own with heading, as it stands: what is kept with a decision."""
    wanted = known_rule(ledger, rule_id).id
    texts = [package_text("competence_rules.csv"), *_texts(ledger)]
    for text in reversed(texts):
        heading, *rows = csv.reader(io.StringIO(text, newline=""))
        for cells in rows:
            if cells[0].strip() == wanted:
                out = io.StringIO(newline="")
                csv.writer(out, lineterminator="\n").writerows([heading, cells])
                return out.getvalue()
    raise LookupError(wanted)


def _texts(ledger: Ledger) -> list[str]:
    return [row.body["text"] for row in standing(ledger, [Kind.RULE_ADOPTED]) if row.body is not None]


def _adopted(ledger: Ledger) -> dict[str, PassRule]:
    found: dict[str, PassRule] = {}
    for text in _texts(ledger):
        found |= read_competence_rules(text, "adopted rules")
    return found
