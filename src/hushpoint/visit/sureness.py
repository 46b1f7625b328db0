"""How sure one visit can be of a person's usual pressure: normal-normal, beside the policy's rule and never for it.

usual ~ N(m, t²); one visit's own level ~ N(usual, b²); one reading ~ N(that level, w² + o²); the gauge adds one error
of its own, N(0, g²), that no further reading takes away. The value of n readings of one visit then has, around the
usual pressure, the variance v = b² + (w² + o²)/n + g²; with R = t²/(t² + v) the usual pressure is N(m + R (value - m),
t² (1 - R)) (regression dilution: usual = mean + R (observed - mean)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from hushpoint.errors import BadInputError
from hushpoint.guideline.bands import Scheme

GAUGE_TOLERANCE_MMHG = 3.0
"""A gauge within its limits may be off by so much either way (ISO 81060-1, from memory); taken as evenly spread."""
MOST_READINGS = 100


@dataclass(frozen=True, slots=True)
class Spread:
    """What is assumed of one end [mmHg], each with its source in `ASSUMED`."""

    mean_mmhg: float
    population_sd_mmhg: float
    between_visits_sd_mmhg: float
    within_visit_sd_mmhg: float
    observer_sd_mmhg: float
    gauge_sd_mmhg: float


_EVENLY = GAUGE_TOLERANCE_MMHG / math.sqrt(3)
SYSTOLIC = Spread(122.0, 14.0, 8.0, 3.7, 1.5, _EVENLY)
DIASTOLIC = Spread(71.0, 10.0, 5.5, 3.2, 1.5, _EVENLY)
ASSUMED = (
    ("adults' mean 122/71", "US adults 2001-2008, n 19 921", "SEEN"),
    (
        "adults' SD 14/10",
        "one MONICA centre: 12.6 to 19.1 systolic by age, 10.0 to 10.5 diastolic, 14 is our choice",
        "CHOICE",
    ),
    ("between visits SD 8/5.5", "about 7 to 9 systolic, 5 to 6 diastolic", "FROM MEMORY"),
    ("between readings of a visit SD 3.7/3.2", "healthy adults, three readings", "SEEN"),
    (
        "observer SD 1.5",
        "two observers on one inflation differ with an SD of 2.1 to 2.3, taken by the root of two",
        "DERIVED",
    ),
    ("gauge within 3", "limit of ISO 81060-1, evenly spread, SD 1.7", "FROM MEMORY"),
)
"""What is assumed, where it comes from, and whether it was seen, worked out or remembered."""


@dataclass(frozen=True, slots=True)
class Usual:
    """The usual pressure of one end [mmHg]: its middle, its SD, and R, how far today's value is believed (0 to 1)."""

    mean_mmhg: float
    sd_mmhg: float
    believed: float

    def above(self, edge_mmhg: float) -> float:
        """Return the chance (0 to 1) that the usual pressure lies above an edge."""
        return 1 - NormalDist(self.mean_mmhg, self.sd_mmhg).cdf(edge_mmhg)

    def range_mmhg(self, chance: float = 0.9) -> tuple[float, float]:
        """Return the middle range that holds the usual pressure with this chance."""
        half = NormalDist().inv_cdf((1 + chance) / 2) * self.sd_mmhg
        return self.mean_mmhg - half, self.mean_mmhg + half


def usual_pressure(
    value_mmhg: float,
    readings: int,
    spread: Spread,
    *,
    visits: int = 1,
    correction_mmhg: float = 0.0,
    gauge_sd_mmhg: float | None = None,
) -> Usual:
    """Return the usual pressure behind the mean of `readings` readings in each of `visits` visits, on one gauge.

    `correction_mmhg` is added to the value, and `gauge_sd_mmhg` takes the place of the tolerance's, where the gauge was
    checked. Raises BadInputError outside 1 to 100 readings or visits.
    """
    if not (1 <= readings <= MOST_READINGS and 1 <= visits <= MOST_READINGS):
        raise BadInputError(f"readings {readings}, visits {visits}: must be from 1 to {MOST_READINGS}")
    gauge_sd = spread.gauge_sd_mmhg if gauge_sd_mmhg is None else gauge_sd_mmhg
    per_reading = spread.within_visit_sd_mmhg**2 + spread.observer_sd_mmhg**2
    noise = (spread.between_visits_sd_mmhg**2 + per_reading / readings) / visits + gauge_sd**2
    population = spread.population_sd_mmhg**2
    believed = population / (population + noise)
    middle = spread.mean_mmhg + believed * (value_mmhg + correction_mmhg - spread.mean_mmhg)
    return Usual(middle, math.sqrt(population * (1 - believed)), believed)


@dataclass(frozen=True, slots=True)
class Sureness:
    """The usual pressure of one end, the chance above each edge, and what more measuring would make of its SD."""

    end: str
    usual: Usual
    above: tuple[tuple[str, float, float], ...]
    """(band that begins there, edge [mmHg], chance that the usual pressure lies above)."""
    sd_one_more_mmhg: float
    sd_second_visit_mmhg: float


def sureness(value_mmhg: tuple[float, float], readings: int, scheme: Scheme) -> tuple[Sureness, Sureness]:
    """Return what systolic and diastolic of one visit say of the usual pressure, at the edges of a scheme."""
    found = []
    for place, (end, spread) in enumerate((("systolic", SYSTOLIC), ("diastolic", DIASTOLIC))):
        edges = [(band.name, (band.systolic_from_mmhg, band.diastolic_from_mmhg)[place]) for band in scheme.bands[1:]]
        usual = usual_pressure(value_mmhg[place], readings, spread)
        found.append(
            Sureness(
                end=end,
                usual=usual,
                above=tuple((name, edge, usual.above(edge)) for name, edge in edges if edge is not None),
                sd_one_more_mmhg=usual_pressure(value_mmhg[place], readings + 1, spread).sd_mmhg,
                sd_second_visit_mmhg=usual_pressure(value_mmhg[place], readings, spread, visits=2).sd_mmhg,
            )
        )
    return found[0], found[1]


def chance_apart(limit_mmhg: float, within_visit_sd_mmhg: float = SYSTOLIC.within_visit_sd_mmhg) -> float:
    """Return how often two readings of one visit lie more than `limit_mmhg` apart by chance: 2 (1 - F(d/(w √2)))."""
    return 2 * (1 - NormalDist().cdf(limit_mmhg / (within_visit_sd_mmhg * math.sqrt(2))))


def chance_range_of_three(limit_mmhg: float, within_visit_sd_mmhg: float = SYSTOLIC.within_visit_sd_mmhg) -> float:
    """Return how often three readings span more than `limit_mmhg` by chance.

    The range of three normal values: P(range <= r) = 3 ∫ f(x) (F(x + r) - F(x))² dx, by the trapezium rule.
    """
    normal, span = NormalDist(), limit_mmhg / within_visit_sd_mmhg
    steps, low, high = 2000, -8.0, 8.0
    width = (high - low) / steps
    at = [low + width * place for place in range(steps + 1)]
    heights = [normal.pdf(x) * (normal.cdf(x + span) - normal.cdf(x)) ** 2 for x in at]
    return 1 - 3 * width * (sum(heights) - (heights[0] + heights[-1]) / 2)


def mean_arterial_mmhg(systolic_mmhg: float, diastolic_mmhg: float) -> float:
    """Return diastolic plus a third of the pulse pressure, the convention for readings by ear (definition)."""
    return diastolic_mmhg + (systolic_mmhg - diastolic_mmhg) / 3
