"""Named tables with sources: technique effects, cuff sizes, teaching policies."""

from hushpoint.guideline.cuffs import CuffSize, cuff_for, cuff_sizes
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
    "DIASTOLIC_EXTREMES_MMHG",
    "HYDROSTATIC_MMHG_PER_CM",
    "SETTLING_TAU_S",
    "SYSTOLIC_EXTREMES_MMHG",
    "CuffSize",
    "EndPoint",
    "Inflation",
    "TableError",
    "TeachingPolicy",
    "TechniqueEffect",
    "cuff_for",
    "cuff_sizes",
    "default_policy_id",
    "teaching_policies",
    "teaching_policy",
    "technique_effects",
]
