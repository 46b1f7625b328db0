"""The looks of a page: a light phone and a dark laptop in every run, the other two in the long one."""

from __future__ import annotations

import pytest

IN_EVERY_LOOK = pytest.mark.parametrize(
    ("width", "scheme"),
    [
        (360, "light"),
        (1280, "dark"),
        pytest.param(360, "dark", marks=pytest.mark.hard),
        pytest.param(1280, "light", marks=pytest.mark.hard),
    ],
)
