"""Named tables with sources: technique effects, cuff sizes and fit, limits of gauges, teaching policies."""

from hushpoint.guideline.cuffs import (
    AnotherCuff,
    BladderFit,
    CuffFits,
    CuffRefused,
    CuffSize,
    WrongCuffEffect,
    bladder_fit,
    cuff_for,
    cuff_sizes,
    edge_note,
    fit_shares,
    size_for,
)
from hushpoint.guideline.gauges import DEFAULT_RULE, GaugeRule, GaugeTests, Limit, gauge_rule, gauge_rules, gauge_tests
from hushpoint.guideline.policies import (
    EndPoint,
    Inflation,
    TeachingPolicy,
    default_policy_id,
    teaching_policies,
    teaching_policy,
)
from hushpoint.guideline.tables import TableError
from hushpoint.guideline.technique import (
    DIASTOLIC_EXTREMES_MMHG,
    HYDROSTATIC_MMHG_PER_CM,
    SETTLING_TAU_S,
    SYSTOLIC_EXTREMES_MMHG,
    TechniqueEffect,
    technique_effects,
)

__all__ = [
    "DEFAULT_RULE",
    "DIASTOLIC_EXTREMES_MMHG",
    "HYDROSTATIC_MMHG_PER_CM",
    "SETTLING_TAU_S",
    "SYSTOLIC_EXTREMES_MMHG",
    "AnotherCuff",
    "BladderFit",
    "CuffFits",
    "CuffRefused",
    "CuffSize",
    "EndPoint",
    "GaugeRule",
    "GaugeTests",
    "Inflation",
    "Limit",
    "TableError",
    "TeachingPolicy",
    "TechniqueEffect",
    "WrongCuffEffect",
    "bladder_fit",
    "cuff_for",
    "cuff_sizes",
    "default_policy_id",
    "edge_note",
    "fit_shares",
    "gauge_rule",
    "gauge_rules",
    "gauge_tests",
    "size_for",
    "teaching_policies",
    "teaching_policy",
    "technique_effects",
]
