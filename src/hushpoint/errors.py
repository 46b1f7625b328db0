"""The root error: every refusal in Hushpoint is one clear line with what, where and the legal range."""

from __future__ import annotations


class HushpointError(Exception):
    """Something asked of Hushpoint cannot be done; the text is one line fit to show to a person.

    Rooms derive their own classes from it. It never carries a person's name or a row's payload.
    """


class BadInputError(HushpointError):
    """A value, row or file that was handed in is outside what is allowed (CLI status 2, HTTP status 422)."""


class NotFoundError(HushpointError):
    """What was asked for does not exist (HTTP status 404)."""


class NotAllowedError(HushpointError):
    """The asker may not do this (HTTP status 403)."""


class AlreadyDoneError(HushpointError):
    """The act was done before and is not done twice (HTTP status 409)."""
