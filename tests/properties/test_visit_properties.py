"""What holds for every visit: nothing is lost, nothing softens, no stop limit is passed over."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.guideline.clinical_policies import clinical_policies
from hushpoint.visit import ARMS, DISEASES, EMERGENCIES, SYMPTOMS, Client, Pulse, TakenReading, Visit, judge_visit
from hushpoint.visit.verdicts import GRAVITY
from visit_cases import LATER, START

ends = st.tuples(st.integers(90, 220), st.integers(40, 130)).filter(lambda pair: pair[1] < pair[0])


@st.composite
def visits(draw: st.DrawFn) -> Visit:
    """A visit of up to eight readings on one or both arms, with any answers."""
    taken = []
    for place in range(draw(st.integers(0, 8))):
        systolic, diastolic = draw(ends)
        arm = draw(st.sampled_from(["right", "right", "left"]))
        taken.append(TakenReading(float(systolic), float(diastolic), arm, START + timedelta(seconds=60 * place)))
    client = Client(
        barred_arms=draw(st.sampled_from([(), ("left",), ("right",), ARMS])),
        known_disease=draw(st.sampled_from([None, (), ("renal",)])),
        exercises_regularly=draw(st.sampled_from([None, True, False])),
        first_visit=draw(st.booleans()),
    )
    symptoms = draw(st.sampled_from([None, (), ("murmur",), ("fainted",)]))
    regular = draw(st.sampled_from([None, True, False]))
    intended = draw(st.sampled_from([None, "light", "test"]))
    return Visit(tuple(taken), client=client, symptoms=symptoms, pulse=Pulse(None, regular), intended=intended)


policies = st.sampled_from(list(clinical_policies().values()))


@settings(max_examples=150, deadline=None)
@given(visits(), policies, st.randoms())
def test_every_reading_is_kept_and_sorted_by_time(visit, policy, shuffler) -> None:
    """More readings never lose one; entered in any order they stand by time and give the same value."""
    result = judge_visit(visit, policy, LATER)
    assert sorted(each.number for each in result.readings) == list(range(1, len(visit.readings) + 1))
    turned = list(visit.readings)
    shuffler.shuffle(turned)
    again = judge_visit(replace(visit, readings=tuple(turned)), policy, LATER)
    times = [each.reading.at for each in again.readings]
    assert times == sorted(times)
    assert again.value == result.value
    assert again.action == result.action


@settings(max_examples=150, deadline=None)
@given(visits(), policies)
def test_never_proceeds_where_a_limit_is_reached(visit, policy) -> None:
    """Proceed only on a complete set whose value is under 140/90 and no reading at 180/110."""
    result = judge_visit(visit, policy, LATER)
    if result.action.word == "proceed":
        assert result.value is not None
        assert result.value.complete
        assert result.next.do == "enough"
        assert result.value.systolic_mmhg < 140
        assert result.value.diastolic_mmhg < 90
        assert all(each.systolic_mmhg < 180 and each.diastolic_mmhg < 110 for each in visit.readings)
        assert not set(visit.symptoms or ()) & {*SYMPTOMS, *EMERGENCIES}


@settings(max_examples=300, deadline=None)
@given(visits(), policies, st.data())
def test_raising_any_pressure_never_softens_the_action(visit, policy, data) -> None:
    """Complete or not, a higher pressure gives the same verdict or a graver one."""
    if not visit.readings:
        return
    place = data.draw(st.integers(0, len(visit.readings) - 1))
    old = visit.readings[place]
    systolic = old.systolic_mmhg + data.draw(st.integers(0, 60))
    diastolic = min(old.diastolic_mmhg + data.draw(st.integers(0, 40)), systolic - 1)
    raised = list(visit.readings)
    raised[place] = replace(old, systolic_mmhg=systolic, diastolic_mmhg=max(diastolic, old.diastolic_mmhg))
    before = judge_visit(visit, policy, LATER).action
    after = judge_visit(replace(visit, readings=tuple(raised)), policy, LATER).action
    assert GRAVITY.index(after.word) >= GRAVITY.index(before.word)


@settings(max_examples=150, deadline=None)
@given(visits(), policies, st.sampled_from(DISEASES), st.sampled_from(SYMPTOMS + EMERGENCIES))
def test_adding_a_symptom_or_disease_never_softens_the_action(visit, policy, disease, symptom) -> None:
    """One more disease or symptom gives the same verdict or a graver one."""
    before = GRAVITY.index(judge_visit(visit, policy, LATER).action.word)
    ill = replace(visit, client=replace(visit.client, known_disease=(*(visit.client.known_disease or ()), disease)))
    felt = replace(visit, symptoms=(*(visit.symptoms or ()), symptom))
    for added in (ill, felt):
        assert GRAVITY.index(judge_visit(added, policy, LATER).action.word) >= before
    assert judge_visit(visit, policy, LATER).cautions[0].startswith("A screening and teaching aid")
