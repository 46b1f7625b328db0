"""Oral questions: their answers are the tables' own, near the edges, and each is recorded once."""

from __future__ import annotations

import re

import pytest

from hushpoint.desk import questions
from hushpoint.errors import BadInputError
from hushpoint.guideline import cuff_for
from hushpoint.guideline.clinical_policies import clinical_policies
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.practice.oral import QUESTION_KINDS, question

NUMBERS = [(seed, number) for seed in range(12) for number in range(1, 25)]


def test_kinds_take_turns_and_every_question_has_a_source() -> None:
    """Cuff, category, next step, and again; choices are all different; a source and its mark stand with each."""
    for seed, number in NUMBERS:
        asked = question(seed, number)
        assert asked.kind == QUESTION_KINDS[(number - 1) % 3]
        assert len(set(asked.choices)) == len(asked.choices) >= 2
        assert asked.source
        assert asked.mark in {"SEEN", "FROM MEMORY", "DERIVED", "CHOICE"}


def test_a_cuff_is_the_tables_cuff() -> None:
    """The arm in the words gives the right choice by the table of bladders, at both ends of every range."""
    arms = set()
    for seed, number in NUMBERS:
        asked = question(seed, number)
        if asked.kind == "cuff":
            arm_cm = int(re.findall(r"measures (\d+) cm", asked.text)[0])
            arms.add(arm_cm)
            assert asked.choices[asked.right].startswith(cuff_for(arm_cm).label + ",")
    assert {22, 26, 27, 34, 35, 44, 45, 52} <= arms


def test_a_category_is_the_schemes_own_and_stands_near_an_edge() -> None:
    """The numbers in the words give the category by the named scheme; one end is within 2 mmHg of an edge."""
    by_name = {policy.name: policy for policy in clinical_policies().values()}
    for seed, number in NUMBERS:
        asked = question(seed, number)
        if asked.kind != "category":
            continue
        systolic, diastolic, name = re.findall(r"is (\d+)/(\d+)\. What does (.+) call", asked.text)[0]
        bands = by_name[name].scheme.bands
        assert asked.choices[asked.right] == by_name[name].scheme.category(int(systolic), int(diastolic))
        edges = [(band.systolic_from_mmhg, band.diastolic_from_mmhg) for band in bands[1:]]
        assert any(
            abs(int(systolic) - upper) <= 2 or (lower is not None and abs(int(diastolic) - lower) <= 2)
            for upper, lower in edges
        )


def test_the_next_step_is_the_ladders_first_that_is_reached() -> None:
    """At an edge the edge itself counts as the ladder says."""
    by_name = {policy.name: policy for policy in clinical_policies().values()}
    for seed, number in NUMBERS:
        asked = question(seed, number)
        if asked.kind != "next_step":
            continue
        systolic, diastolic, name = re.findall(r"at (\d+)/(\d+)\. (.+) as shipped", asked.text)[0]
        steps = [step for step in by_name[name].ladder if step.verdict != "emergency_with_symptoms"]
        reached = next(step for step in steps if step.reached(int(systolic), int(diastolic)))
        told = asked.choices[asked.right]
        assert ("today" if reached.within_days == 0 else f"within {reached.within_days} days") in told
        assert told.startswith("no stop" if reached.verdict == "proceed" else reached.verdict)


def test_an_answer_is_recorded_once_and_the_next_question_follows() -> None:
    """The first choice stands; a second one to the same question changes nothing."""
    ledger = MemoryLedger()
    first = questions.next_question(ledger, "ines")
    wrong = (first.right + 1) % len(first.choices)
    assert not questions.answer(ledger, room="", who="ines", number="1", choice=str(wrong)).right
    assert not questions.answer(ledger, room="", who="ines", number="1", choice=str(first.right)).right
    assert questions.next_question(ledger, "ines").number == 2
    assert len(list(ledger.rows(kinds=[Kind.QUESTION_ANSWERED]))) == 1
    assert questions.tally(ledger, "ines")[0][1:] == (0, 1)
    for number, choice in (("3", "0"), ("0", "0"), ("x", "0"), ("2", "99"), ("2", "")):
        with pytest.raises(BadInputError):
            questions.answer(ledger, room="", who="ines", number=number, choice=choice)


def test_learners_get_different_questions() -> None:
    """Two learners' first questions come from series of their own."""
    ledger = MemoryLedger()
    first = {questions.next_question(ledger, f"learner {number}").text for number in range(12)}
    assert len(first) > 1
