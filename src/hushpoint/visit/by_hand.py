"""What a visit says, worked out in lines that can be done again by hand: value, category, nearest edge, action."""

from __future__ import annotations

from collections.abc import Sequence

from hushpoint.guideline.bands import Edge, Scheme
from hushpoint.guideline.protocols import Pair
from hushpoint.measure import Worked, figure_words, sum_words, whole_mmhg
from hushpoint.visit.judging import ArmStep, Judged, VisitValue
from hushpoint.visit.sureness import ASSUMED, DIASTOLIC, SYSTOLIC, usual_pressure

ENDS = ("systolic", "diastolic")


def worked(judged: Judged) -> tuple[Worked, ...]:
    """Return the calculation behind each figure of a judged visit; none where nothing is judged."""
    value = judged.value
    if value is None:
        return ()
    found = [_value(judged, value), _category(judged, value)]
    if judged.edge is not None:
        found.append(_edge(judged.policy.scheme, judged.edge, value))
    found.append(_action(judged))
    if value.complete:
        found.append(_usual(value))
    return tuple(found)


def _value(judged: Judged, value: VisitValue) -> Worked:
    steps = [value.how]
    for end, ours, read in zip(ENDS, _ends(value), zip(*value.used, strict=True), strict=True):
        shown = f"to the nearest whole mmHg, halves up: {whole_mmhg(ours)}"
        if len(read) == 1:
            steps.append(f"{end} as read: {figure_words(read[0])}, {shown}")
        elif value.lower:
            listed = " and ".join(map(figure_words, read))
            steps.append(f"{end}, the lower of {listed}: {figure_words(ours)}, {shown}")
        else:
            steps.append(f"{end} mean: ({sum_words(read)}) / {len(read)} = {figure_words(ours)}, {shown}")
    source, mark = judged.policy.protocol.sources["value"]
    return Worked("Value", tuple(steps), f"{judged.policy.id}, {source} ({mark}); rounding: our own rule")


def _category(judged: Judged, value: VisitValue) -> Worked:
    scheme, ends = judged.policy.scheme, _ends(value)
    steps = [f"{end} {figure_words(mmhg)}: {_band(scheme, place, mmhg)}" for place, (end, mmhg) in _named(ends)]
    steps.append(f"the higher of the two holds: {judged.category}")
    return Worked("Category", tuple(steps), f"{scheme.source} ({scheme.provenance})")


def _band(scheme: Scheme, place: int, mmhg: float) -> str:
    """The band that one end alone reaches, by its edges; a band without an edge of this end is passed over."""
    edges = [(band.name, (band.systolic_from_mmhg, band.diastolic_from_mmhg)[place]) for band in scheme.bands]
    known = [(name, edge) for name, edge in edges if edge is not None]
    reached = [(name, edge) for name, edge in known if mmhg >= edge]
    above = [(name, edge) for name, edge in known if mmhg < edge]
    told = [f"at or above {figure_words(reached[-1][1])} ({reached[-1][0]})"] if len(reached) > 1 else []
    told += [f"below {figure_words(above[0][1])} ({above[0][0]})"] if above else []
    return ", ".join(told)


def _edge(scheme: Scheme, edge: Edge, value: VisitValue) -> Worked:
    at, mine = figure_words(edge.at_mmhg), figure_words(_ends(value)[ENDS.index(edge.end)])
    why = "the nearest pressure at which the category changes; where both ends hold it, both must fall"
    step = f"edge of the {edge.end} minus the value: {at} \N{MINUS SIGN} {mine} = {figure_words(edge.distance_mmhg)}"
    return Worked("Nearest edge", (why, step), f"{scheme.source} ({scheme.provenance})")


def _action(judged: Judged) -> Worked:
    steps = [line for arm in judged.held for line in _climbed(judged, arm)]
    if not judged.held:
        steps.append("the readings are not complete: no step of the ladder is asked yet")
    gravest = f"of {len(judged.action.reasons)} reasons the gravest decides" if len(judged.action.reasons) > 1 else ""
    steps.append(f"{gravest or 'the one reason there is decides'}: {judged.action.word}")
    policy, step = judged.policy, judged.step
    source = f"{step.source} ({step.provenance})" if step else f"{policy.id}, number of readings"
    return Worked("Action", tuple(steps), source)


def _climbed(judged: Judged, arm: ArmStep) -> list[str]:
    """The ladder from its gravest step down to the one that this arm's value reached."""
    shown = "/".join(map(figure_words, arm.ends)) + arm.on
    steps = []
    for step in judged.policy.ladder:
        if step is arm.step:
            steps.append(f"{step.words()}: reached by {shown}, which says {step.verdict.split('_')[0]}")
            break
        if step.reached(*arm.ends):
            steps.append(f"{step.words()}: asks for a symptom too, none is told")
        else:
            steps.append(f"{step.words()}: not reached by {shown}")
    return steps


def _usual(value: VisitValue) -> Worked:
    n, steps = len(value.used), list[str]()
    for end, ours, spread in zip(ENDS, _ends(value), (SYSTOLIC, DIASTOLIC), strict=True):
        found = usual_pressure(ours, n, spread)
        between, within = spread.between_visits_sd_mmhg, spread.within_visit_sd_mmhg
        observer, gauge, people = spread.observer_sd_mmhg, spread.gauge_sd_mmhg, spread.population_sd_mmhg
        error = people**2 / found.believed - people**2
        steps += [
            f"{end}, variance of today's value: {figure_words(between)}² + ({figure_words(within)}² + "
            f"{figure_words(observer)}²) / {n} + {gauge:.3f}² = {error:.2f}",
            f"share believed: {figure_words(people)}² / ({figure_words(people)}² + {error:.2f}) = {found.believed:.3f}",
            f"middle of the usual {end}: {figure_words(spread.mean_mmhg)} + {found.believed:.3f} × "
            f"({figure_words(ours)} \N{MINUS SIGN} {figure_words(spread.mean_mmhg)}) = {found.mean_mmhg:.1f}",
            f"spread of the usual {end}: {figure_words(people)} × √(1 \N{MINUS SIGN} {found.believed:.3f}) = "
            f"{found.sd_mmhg:.1f}; nine of ten lie within 1.645 of it: {found.range_mmhg()[0]:.0f} to "
            f"{found.range_mmhg()[1]:.0f}",
        ]
    sources = "; ".join(f"{what}: {source} ({mark})" for what, source, mark in ASSUMED)
    return Worked("How sure", tuple(steps), f"regression dilution with normal spreads; {sources}")


def _ends(value: VisitValue) -> Pair:
    return value.systolic_mmhg, value.diastolic_mmhg


def _named(ends: Pair) -> Sequence[tuple[int, tuple[str, float]]]:
    return tuple(enumerate(zip(ENDS, ends, strict=True)))
