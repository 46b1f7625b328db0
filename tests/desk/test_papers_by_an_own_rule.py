"""Listening papers under an institution's own rule."""

from __future__ import annotations

import pytest

from evidence_scenes import paper_taken
from hushpoint.desk import classes, papers, pass_rules
from hushpoint.errors import BadInputError
from hushpoint.guideline.tables import package_text
from hushpoint.ledger.records import Ledger


def test_an_adopted_rule_marks_a_paper_and_a_later_change_of_it_does_not(ledger: Ledger) -> None:
    """10 of 12 of each end within 4: offered with its odds, marks by its own numbers, and stands as it stood."""
    heading = package_text("competence_rules.csv").splitlines()[0]
    text = f"{heading}\nCOLLEGE_2026,College,2026-02-01,key,within 4: 10 of 12,12,each,3,6,meeting,CHOICE,ours\n"
    code = classes.open_class(ledger, name="A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines")
    with pytest.raises(BadInputError, match="rule: must be one of"):
        papers.set_paper(ledger, room=code, setting=papers.Setting("Own", rule_id="COLLEGE_2026"))
    pass_rules.adopt(ledger, text.encode(), "college.csv")
    (rule,) = [one for one in papers.fitting_rules(ledger) if one.id == "COLLEGE_2026"]
    odds = {what: one.passes for what, one in papers.odds_on_a_paper(rule)}
    assert odds["as two practised observers"] > 0.9
    assert odds["steady, 5 off"] < 0.5
    setting = papers.Setting("Own", rule_id="COLLEGE_2026", attempts=2)
    paper = papers.set_paper(ledger, room=code, setting=setting, seed=5)
    pass_rules.adopt(ledger, text.replace("10 of 12", "12 of 12").encode(), "college.csv")
    first = paper_taken(ledger, code, who, paper, "2026-03-02", [6, 6, 6, 6] + [4, -4] * 10)
    assert first.marked is not None
    assert (first.marked["verdict"], first.marked["missing"]) == ("met", [])
    second = paper_taken(ledger, code, who, paper, "2026-03-03", [6, 6] * 3 + [0] * 18)
    assert second.marked is not None
    assert second.marked["verdict"] == "not yet"
