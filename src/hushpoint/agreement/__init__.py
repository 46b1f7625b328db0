"""Readings to bias, limits of agreement, shares within, and last digits."""

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
from hushpoint.agreement.last_digits import Digits, binomial_upper_tail, digits

__all__ = [
    "WITHIN_MMHG",
    "Agreement",
    "AgreementError",
    "Differences",
    "Digits",
    "PairAgreement",
    "PairedReading",
    "agree",
    "binomial_upper_tail",
    "digits",
    "pairs",
]
