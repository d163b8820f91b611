"""What happened at the door of the page, one plain line each, for whoever is at the desk.

Tested in tests/analysis/page/access/test_lines.py.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from datetime import datetime

MOST_LINES = 100


class Events:
    """The latest lines; the same again only raises a count.

    Parameters
    ----------
    clock : callable
        Seconds of Unix time.
    """

    def __init__(self, clock: Callable[[], float] = time.time) -> None:
        self._clock = clock
        self._lines: deque[tuple[float, str, int]] = deque(maxlen=MOST_LINES)
        self._fresh: deque[str] = deque(maxlen=MOST_LINES)
        self._lock = threading.Lock()

    def add(self, text: str) -> None:
        """Add a line, or count it once more where it is among the latest."""
        with self._lock:
            for k, (_, line, count) in enumerate(self._lines):
                if line == text:
                    self._lines[k] = (self._clock(), line, count + 1)
                    return
            self._lines.append((self._clock(), text, 1))
            self._fresh.append(text)

    def lines(self) -> list[str]:
        """Return all lines with their clock time, the latest first."""
        with self._lock:
            kept = sorted(self._lines, reverse=True)
        return [
            f"{datetime.fromtimestamp(at):%H:%M} {text}" + (f" ({count} times)" * (count > 1))
            for at, text, count in kept
        ]

    def fresh(self) -> list[str]:
        """Return the lines that were not returned here before, for the terminal."""
        with self._lock:
            lines = list(self._fresh)
            self._fresh.clear()
        return lines
