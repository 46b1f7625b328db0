"""Readings to bias, limits of agreement, shares within, reliability, and last digits."""

from hushpoint.agreement.by_hand import agreement_by_hand, digits_by_hand, errors_by_hand, kappa_by_hand
from hushpoint.agreement.differences import (
    WITHIN_MMHG,
    Agreement,
    AgreementError,
    Differences,
    PairAgreement,
    PairedReading,
    agree,
    pairs,
)
from hushpoint.agreement.fitted import Outlying
from hushpoint.agreement.gauge_watch import GaugeOdds, GaugeWatch
from hushpoint.agreement.in_full import InFull, in_full
from hushpoint.agreement.last_digits import (
    Digits,
    ObserverDigits,
    SamePairs,
    binomial_upper_tail,
    chi_square,
    digits,
    digits_by_observer,
    same_pairs,
)
from hushpoint.agreement.reliability import (
    Correlation,
    IntraclassCorrelations,
    Kappa,
    concordance,
    intraclass,
    kappa,
    share_interval,
)
from hushpoint.agreement.replicates import (
    Repeatability,
    ReplicateLimits,
    Trend,
    exact_limits_ci,
    repeatability,
    replicate_limits,
    trend,
)
from hushpoint.agreement.whose import EndErrors, ErrorSources, GaugeError, ObserverError, Papers, Untold, whose

__all__ = [
    "WITHIN_MMHG",
    "Agreement",
    "AgreementError",
    "Correlation",
    "Differences",
    "Digits",
    "EndErrors",
    "ErrorSources",
    "GaugeError",
    "GaugeOdds",
    "GaugeWatch",
    "InFull",
    "IntraclassCorrelations",
    "Kappa",
    "ObserverDigits",
    "ObserverError",
    "Outlying",
    "PairAgreement",
    "PairedReading",
    "Papers",
    "Repeatability",
    "ReplicateLimits",
    "SamePairs",
    "Trend",
    "Untold",
    "agree",
    "agreement_by_hand",
    "binomial_upper_tail",
    "chi_square",
    "concordance",
    "digits",
    "digits_by_hand",
    "digits_by_observer",
    "errors_by_hand",
    "exact_limits_ci",
    "in_full",
    "intraclass",
    "kappa",
    "kappa_by_hand",
    "pairs",
    "repeatability",
    "replicate_limits",
    "same_pairs",
    "share_interval",
    "trend",
    "whose",
]
