"""Pass rules on made pairs: the scenes of the job, what is missing, and what no rule may let through."""

from __future__ import annotations

import csv
import random
from pathlib import Path

import pytest

from hushpoint.agreement import PairedReading
from hushpoint.competence import Competent, Judgement, NotYet, TooFew, Variety, judge, pass_odds
from hushpoint.competence.judging import answers_of, clean_needed, variety_missing
from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import competence_rule, competence_rules, read_competence_rules
from hushpoint.guideline.tables import TableError, package_text

PUBLISHED = Path(__file__).resolve().parents[1] / "published"

Pairs = list[tuple[PairedReading, PairedReading]]


def published(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def pairs_with(systolic: list[float], diastolic: list[float] | None, step: int = 4, clients: int = 0) -> Pairs:
    """Pairs whose learner is off by these errors; references run up from 100/60 by `step`."""
    made = []
    for place, off in enumerate(systolic):
        upper, lower = 100 + step * place, 60 + step * place / 2
        client = f"c{place % clients}" if clients else ""
        theirs = PairedReading(str(place), "L", upper, None if diastolic is None else lower, client)
        below = None if diastolic is None else lower + diastolic[place]
        made.append((PairedReading(str(place), "S", upper + off, below, client), theirs))
    return made


def verdict_of(rule: str, both: Pairs) -> Judgement:
    """The judgement of pairs by a shipped rule."""
    return judge(competence_rule(rule), both)


@pytest.mark.parametrize("row", published("competence_rules_in_print.csv"), ids=lambda row: row["rule"])
def test_shipped_rules_ask_what_is_printed(row: dict[str, str]) -> None:
    """Distances and counts of each shipped rule are those of its source, and its mark says whether it was seen."""
    rule = competence_rule(row["rule"])
    near, far, n = rule.criteria[0], rule.criteria[-1], int(row["of"])
    assert (near.within_mmhg, near.needed(n)) == (int(row["near_mmhg"]), int(row["near_needed"]))
    assert (far.within_mmhg, far.needed(n)) == (int(row["far_mmhg"]), int(row["far_needed"]))
    assert (rule.set_size, rule.provenance) == (n, row["provenance"])


def test_every_shipped_rule_is_in_the_table_of_print() -> None:
    """No rule ships without an outside row to hold it."""
    assert {row["rule"] for row in published("competence_rules_in_print.csv")} == set(competence_rules())


@pytest.mark.parametrize("row", published("competence_pass_odds.csv"), ids=lambda row: row["id"])
def test_odds_of_the_strict_rule_are_the_simulated_ones(row: dict[str, str]) -> None:
    """The exact chance lies within the tolerance of 200 000 runs made elsewhere."""
    odds = pass_odds(competence_rule(row["rule"]), float(row["bias_mmhg"]), float(row["sd_mmhg"]))
    assert odds.passes == pytest.approx(float(row["passes"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("rule_id", list(competence_rules()))
@pytest.mark.parametrize(("bias", "sd"), [(0.0, 2.1), (3.0, 2.5), (1.5, 4.0)])
def test_odds_are_what_judging_drawn_observers_gives(rule_id: str, bias: float, sd: float) -> None:
    """Two roads to one number: 1 500 drawn observers judged one by one pass as often as computed."""
    rule, draw, runs, passed = competence_rule(rule_id), random.Random(1), 1500, 0
    size = rule.set_size // 2 if rule.ends == "pooled" else rule.set_size

    def error() -> float:
        truth = draw.uniform(0, 100)
        return 2 * (round((truth + draw.gauss(bias, sd)) / 2) - round(truth / 2))

    for _ in range(runs):
        both = pairs_with([error() for _ in range(size)], [error() for _ in range(size)], step=30, clients=3)
        passed += isinstance(judge(rule, both).verdict, Competent)
    expected = pass_odds(rule, bias, sd).passes
    assert passed / runs == pytest.approx(expected, abs=4 * (0.25 / runs) ** 0.5)


def test_scene_nine_twenty_pairs_meet_ninety_and_ninety_five() -> None:
    """Systolic 18 within 5 and 20 within 10, diastolic 19 and 20: competent by 90/95, with the counts as reasons."""
    found = verdict_of("OBRIEN_90_95", pairs_with([0.0] * 18 + [8, -8], [2.0] * 19 + [10]))
    assert isinstance(found.verdict, Competent)
    assert [(c.end, c.found, c.n, c.needed) for c in found.counts] == [
        ("systolic", 18, 20, 18),
        ("systolic", 20, 20, 19),
        ("diastolic", 19, 20, 18),
        ("diastolic", 20, 20, 19),
    ]


def test_one_answer_fewer_is_not_yet_and_says_what_would_show_it() -> None:
    """17 of 20 within 5: not yet; 27 of 30 would be nine in ten, so ten more clean readings would show it."""
    found = verdict_of("OBRIEN_90_95", pairs_with([0.0] * 17 + [8.0] * 3, [0.0] * 20))
    assert isinstance(found.verdict, NotYet)
    assert found.verdict.missing == (
        "systolic: one more answer within 5 mmHg of 20",
        "ten more clean readings would show it",
    )


def test_eleven_more_clean_readings() -> None:
    """Nine clean of a set of twenty need eleven more; 26 of 30 within 10 need fifty, for 76 of 80 is 95 %."""
    rule = competence_rule("OBRIEN_90_95")
    answers, _ = answers_of(pairs_with([0.0] * 26 + [20.0] * 4, None))
    assert clean_needed(rule, answers) == 50
    answers, _ = answers_of(pairs_with([0.0] * 9, None))
    assert clean_needed(rule, answers) == 11


@pytest.mark.parametrize(("within_2", "beyond_2", "verdict"), [(21, 3, NotYet), (23, 1, Competent), (22, 2, Competent)])
def test_scene_ten_counts_of_the_recertification(within_2: int, beyond_2: int, verdict: type) -> None:
    """Of 24 answers, all within 4: 21 within 2 is not enough, 22 and 23 are."""
    errors = [2.0] * within_2 + [-4.0] * beyond_2
    found = verdict_of("NHANES_2003", pairs_with(errors[::2], errors[1::2], step=10))
    assert type(found.verdict) is verdict
    assert found.counts[0].found == within_2
    if verdict is NotYet:
        assert "a new set of 24 answers, on other measurements" in found.verdict.missing


def test_one_answer_beyond_four_is_not_enough_for_the_strict_rule() -> None:
    """All 24 must lie within 4."""
    found = verdict_of("NHANES_2003", pairs_with([0.0] * 11 + [6.0], [0.0] * 12, step=10))
    assert isinstance(found.verdict, NotYet)


def test_few_pairs_are_too_few_not_a_judgement() -> None:
    """Nine clean pairs of twenty: too few, and eleven more of each end are named."""
    found = verdict_of("OBRIEN_90_95", pairs_with([0.0] * 9, [0.0] * 9))
    assert isinstance(found.verdict, TooFew)
    assert found.verdict.missing == ("eleven more systolic answers: 9 of 20", "eleven more diastolic answers: 9 of 20")
    assert found.verdict.reasons[0] == "systolic: 9 of 9 within 5 mmHg so far, 18 of 20 asked"


def test_few_pairs_that_cannot_be_mended_are_not_yet() -> None:
    """Three of four beyond 10 cannot become 95 % of twenty."""
    found = verdict_of("OBRIEN_90_95", pairs_with([20.0] * 3 + [0.0], [0.0] * 4))
    assert isinstance(found.verdict, NotYet)


def test_three_people_are_asked_where_the_rule_asks() -> None:
    """Nine clean pairs on two people: one more person is missing; on three: competent; unknown: said so."""
    two, three = (pairs_with([0.0] * 9, [2.0] * 9, clients=n) for n in (2, 3))
    found = verdict_of("CHAT", two)
    assert isinstance(found.verdict, TooFew)
    assert found.verdict.missing == ("one more person to be measured: 2 of 3",)
    assert isinstance(verdict_of("CHAT", three).verdict, Competent)
    unknown = verdict_of("CHAT", pairs_with([0.0] * 9, [2.0] * 9))
    assert any("no client codes" in note for note in unknown.notes)


def test_an_empty_answer_counts_as_not_within() -> None:
    """A learner who leaves out the hard diastolics is not let through by it."""
    both = pairs_with([0.0] * 20, [0.0] * 20)
    both = [
        (PairedReading(mine.measurement, "S", mine.systolic_mmhg, None if place < 3 else mine.diastolic_mmhg), theirs)
        for place, (mine, theirs) in enumerate(both)
    ]
    found = verdict_of("OBRIEN_90_95", both)
    assert isinstance(found.verdict, NotYet)
    assert (found.counts[2].found, found.counts[2].n) == (17, 20)
    assert "no diastolic written where the reference wrote one: 3; each counts as not within" in found.notes


@pytest.mark.parametrize("rule_id", list(competence_rules()))
@pytest.mark.parametrize("spread", [0.5, 2.0, 12.0])
def test_writing_the_class_mean_passes_no_shipped_rule(rule_id: str, spread: float) -> None:
    """Whether the class is spread or all alike, one pair of numbers written every time is never competent."""
    draw = random.Random(7)
    for _ in range(40):
        both = [
            (
                PairedReading(str(place), "S", 116, 72, f"c{place % 3}"),
                PairedReading(
                    str(place), "L", 2 * round(draw.gauss(117, spread) / 2), 2 * round(draw.gauss(72, spread) / 2),
                    f"c{place % 3}",
                ),
            )
            for place in range(50)
        ]  # fmt: skip
        assert not isinstance(verdict_of(rule_id, both).verdict, Competent)


def test_readings_too_alike_say_what_is_missing() -> None:
    """A clean learner on twenty like measurements: not yet, because one constant would meet the rule too."""
    found = verdict_of("OBRIEN_90_95", pairs_with([0.0] * 20, [0.0] * 20, step=0))
    assert isinstance(found.verdict, NotYet)
    assert "writing 100/60 every time would meet the rule too" in found.verdict.missing[0]


def test_variety_names_one_reading_above_160() -> None:
    """Pairs from 100 to 156: with variety asked, one reading at or above 160 is missing."""
    both = pairs_with([0.0] * 20, [0.0] * 20, step=2)
    assert isinstance(verdict_of("OBRIEN_90_95", both).verdict, Competent)
    found = judge(competence_rule("OBRIEN_90_95"), pairs_with([0.0] * 29, [0.0] * 29, step=2), Variety())
    assert isinstance(found.verdict, TooFew)
    assert found.verdict.missing == ("one reading at or above 160 is missing",)
    assert found.coverage.at_or_above_140 == 9


def test_variety_of_gap_rhythm_and_faintness() -> None:
    """What a file cannot tell is asked of the counts handed in."""
    found = verdict_of("OBRIEN_90_95", pairs_with([0.0] * 20, None, step=5))
    asked = Variety(gap=2, irregular=1, faint=1)
    assert variety_missing(asked, found.coverage, {"irregular": 1}) == (
        "two readings with a silent gap are missing",
        "one reading on a faint arm is missing",
    )


def test_an_unknown_rule_is_refused_with_the_list() -> None:
    """The line names every rule that can be asked for."""
    with pytest.raises(BadInputError, match="must be one of NHANES_2003, OBRIEN_85_95, "):
        competence_rule("OWN")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("within 2: 22 of 24; within", "near 2; within", "criteria"),
        ("within 2: 22 of 24", "within 2: 25 of 24", "counts of the set of 24"),
        ("within 2: 22 of 24", "within 2: 22 of 20", "counts of the set of 24"),
        ("within 5: 85 %", "within 5: 0 %", "above 0"),
        ("within 5: 85 %", "within 12: 85 %", "nearest first"),
        ("24,pooled", "0,pooled", "from 1 to 1000"),
        ("pooled", "mixed", "one of each, pooled"),
        ("FROM MEMORY", "HEARD", "one of SEEN"),
    ],
)
def test_a_wrong_cell_in_the_rules_is_refused_in_one_line(old: str, new: str, told: str) -> None:
    """The refusal names the table, the row and what is legal."""
    text = package_text("competence_rules.csv")
    assert old in text
    with pytest.raises(TableError) as refused:
        read_competence_rules(text.replace(old, new, 1), "competence_rules.csv")
    assert str(refused.value).startswith("competence_rules.csv row")
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(("bias", "sd", "n"), [(61, 1, 9), (0, -1, 9), (0, 61, 9), (0, 1, 0), (0, 1, 2001)])
def test_odds_outside_the_legal_ranges_are_refused(bias: float, sd: float, n: int) -> None:
    """One line with the ranges."""
    with pytest.raises(BadInputError, match="are allowed"):
        pass_odds(competence_rule("CHAT"), bias, sd, n)
