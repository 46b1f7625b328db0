"""Readings to bias, limits of agreement, shares within, reliability, and last digits."""

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
from hushpoint.agreement.last_digits import Digits, ObserverDigits, binomial_upper_tail, digits, digits_by_observer
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
from hushpoint.agreement.whose import EndErrors, ErrorSources, GaugeError, ObserverError, Untold, whose

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
    "IntraclassCorrelations",
    "Kappa",
    "ObserverDigits",
    "ObserverError",
    "Outlying",
    "PairAgreement",
    "PairedReading",
    "Repeatability",
    "ReplicateLimits",
    "Trend",
    "Untold",
    "agree",
    "binomial_upper_tail",
    "concordance",
    "digits",
    "digits_by_observer",
    "exact_limits_ci",
    "intraclass",
    "kappa",
    "pairs",
    "repeatability",
    "replicate_limits",
    "share_interval",
    "trend",
    "whose",
]
