"""A clock for a run: true times that never run backwards, whatever is done to the computer's."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

JUMP_S = 2.0
"""A larger step of the computer's clock is told; smaller ones are its own corrections."""

LEAST_STEP_S = 0.001


class SteadyClock:
    """Unix time that follows the computer's clock but never steps back.

    Parameters
    ----------
    wall, steady : callable
        Seconds of the clock on the wall and of one that nobody can set.

    Attributes
    ----------
    notes : list of str
        Steps of the computer's clock not told yet; take them with `take_notes`.

    Notes
    -----
    A step back cannot be true: time goes on from where it was. A step forward may be a lid that
    was closed, during which the steady clock of some systems stands still: the wall is believed.
    """

    def __init__(
        self,
        wall: Callable[[], float] = time.time,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        self._wall, self._steady = wall, steady
        self._lead_s = wall() - steady()
        self._last = -float("inf")
        self._told_back_s = 0.0
        self._lock = threading.Lock()
        self.notes: list[str] = []

    def now(self) -> float:
        """Return Unix seconds, never less than before."""
        with self._lock:
            step = self._wall() - (self._steady() + self._lead_s)
            if step > JUMP_S:
                self.notes.append(
                    f"the computer slept or its clock was set forward by {step:.0f} s"
                )
                self._lead_s += step
            elif step < -JUMP_S and step < self._told_back_s - JUMP_S:
                self.notes.append(_back(step))
                self._told_back_s = step
            self._last = max(self._last, self._steady() + self._lead_s)
            return self._last

    def not_before(self, clock_s: float) -> None:
        """Go on after a time that a run already holds, such as its last frame's.

        Where the computer's clock was set back between two sittings the time between them is
        not known; the run then goes on one second later.
        """
        now = self.now()
        with self._lock:
            if now < clock_s + LEAST_STEP_S:
                self.notes.append(
                    "the computer's clock is behind the last picture of this run: times go on "
                    "from that picture; set the clock right before the next run"
                )
                self._lead_s += clock_s + 1.0 - now

    def take_notes(self) -> list[str]:
        """Return the notes and forget them."""
        with self._lock:
            told, self.notes = self.notes, []
            return told


def _back(step_s: float) -> str:
    return f"the computer's clock was set back by {-step_s:.0f} s: the run keeps its own time"
