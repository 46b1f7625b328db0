"""What every picture shares: matplotlib's settings are its own globals, so one picture is drawn at a time."""

from __future__ import annotations

import threading

ONE_AT_A_TIME = threading.Lock()
