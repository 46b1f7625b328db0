"""Teach, practise and judge the manual measurement of resting blood pressure."""

__version__ = "0.1.0"
