"""Current until, lapsed, due: the dates of a recertification."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest

from hushpoint.agreement import PairedReading
from hushpoint.competence import Competent, NotYet, judge
from hushpoint.competence.currency import Current, Lapsed, NeverSigned, currency, months_after
from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import competence_rule

PUBLISHED = Path(__file__).resolve().parents[1] / "published" / "competence_currency_scene_ten.csv"
with PUBLISHED.open(encoding="utf-8", newline="") as table:
    SCENE_TEN = list(csv.DictReader(table))


@pytest.mark.parametrize("row", SCENE_TEN, ids=lambda row: row["id"])
def test_scene_ten_dates(row: dict[str, str]) -> None:
    """Signed 10 March it lapses on 10 September; renewed on 14 September it is current to 14 March."""
    found = currency([date.fromisoformat(row["signed"])], date.fromisoformat(row["asked"]), int(row["months"]))
    day = date.fromisoformat(row["day"])
    if row["verdict"] == "lapsed":
        assert isinstance(found, Lapsed)
        assert found.since == day
    else:
        assert isinstance(found, Current)
        assert found.until == day


def test_words_of_scene_ten() -> None:
    """The reasons name both days."""
    lapsed = currency([date(2026, 3, 10)], date(2026, 9, 14))
    assert lapsed.reason == "signed 10 Mar 2026, lapsed 10 Sep 2026: a new test renews it"
    renewed = currency([date(2026, 3, 10), date(2026, 9, 14)], date(2026, 9, 14))
    assert renewed.reason == "signed 14 Sep 2026, current to 14 Mar 2027"


def test_due_four_weeks_before() -> None:
    """Renewal is due from 28 days before the day, not from 29."""
    signed = [date(2026, 3, 10)]
    due, early = currency(signed, date(2026, 8, 13)), currency(signed, date(2026, 8, 12))
    assert isinstance(due, Current)
    assert isinstance(early, Current)
    assert (due.due, early.due) == (True, False)


def test_a_sign_off_in_the_future_does_not_count() -> None:
    """Asked about a day before any sign-off, there is none."""
    assert isinstance(currency([date(2026, 3, 10)], date(2026, 3, 9)), NeverSigned)
    assert isinstance(currency([], date(2026, 3, 9)), NeverSigned)


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2026, 8, 31), 6, date(2027, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2026, 12, 31), 2, date(2027, 2, 28)),
        (date(2026, 1, 15), 12, date(2027, 1, 15)),
    ],
)
def test_month_ends_are_the_last_day(day: date, months: int, expected: date) -> None:
    """Where the later month is shorter, its last day stands in (calendar)."""
    assert months_after(day, months) == expected


@pytest.mark.parametrize("months", [0, -6, 61])
def test_months_outside_the_range_are_refused(months: int) -> None:
    """1 to 60 months."""
    with pytest.raises(BadInputError, match="1 to 60"):
        months_after(date(2026, 3, 10), months)


def test_scene_ten_from_attempts_to_the_new_date() -> None:
    """Attempt 1 has 21 of 24 within 2: not renewed, still lapsed. Attempt 2, on new clips, 23: current to 14 March."""
    signed, asked = [date(2026, 3, 10)], date(2026, 9, 14)
    rule = competence_rule("NHANES_2003")
    for within_2, verdict, status in ((21, NotYet, Lapsed), (23, Competent, Current)):
        errors = [0.0] * within_2 + [4.0] * (24 - within_2)
        both = [
            (
                PairedReading(str(n), "S", 100 + 8 * n + errors[2 * n], 50 + 4 * n + errors[2 * n + 1]),
                PairedReading(str(n), "key", 100 + 8 * n, 50 + 4 * n),
            )
            for n in range(12)
        ]
        found = judge(rule, both)
        assert isinstance(found.verdict, verdict)
        if isinstance(found.verdict, Competent):
            signed.append(asked)
        assert isinstance(currency(signed, asked, rule.renew_months), status)
    assert currency(signed, asked, rule.renew_months).reason.endswith("current to 14 Mar 2027")
