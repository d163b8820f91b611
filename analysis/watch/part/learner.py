"""The plan corrected in the background while the part fills; a fault in it is a line, not an end.

Tested in tests/analysis/watch/part/test_run.py.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Collection, Sequence

from analysis.infusion.beside.openings import find_openings
from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.learn.learnt import EARLY, Learnt
from analysis.infusion.outlook.numbers import Forecast, learnt_forecast
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.plan.part_toml import PartJob
from vision.errors import WetlineError

EVERY_S = 30.0
"""From the start of one fit to that of the next, so that pictures have the machine."""


class PartLearner:
    """Fits the plan to the latest look, one at a time, in a thread of its own.

    Parameters
    ----------
    job : PartJob
    every_s : float
        Least seconds from one fit to the next.

    Attributes
    ----------
    forecast : Forecast or None
        The latest; replaced whole.
    learnt : Learnt or None
        What it was made from.
    said : str
        Why the last fit came to nothing; empty when it did not.
    """

    def __init__(self, job: PartJob, every_s: float = EVERY_S) -> None:
        self._job, self.every_s = job, every_s
        self._thread: threading.Thread | None = None
        self._began = -float("inf")
        self._round = 0
        self.learnt: Learnt | None = None
        self.forecast: Forecast | None = None
        self.said = ""

    @property
    def at_work(self) -> frozenset[str]:
        """Later feeds that nobody noted and that resin seems to come from, by the latest fit."""
        found = () if self.learnt is None else self.learnt.openings
        return frozenset(one.name for one in found if one.at_work and not one.noted)

    def offer(
        self,
        on: SeenOnPlan,
        opened_s: Sequence[float | None] | None,
        early: Collection[str] = (),
    ) -> None:
        """Learn from a look, unless one is still being learnt from or was just now.

        Nothing is learnt where a feed named in `early`, at which resin came up before any front,
        cannot be told to have been open since then.
        """
        busy = self._thread is not None and self._thread.is_alive()
        if busy or time.monotonic() < self._began + self.every_s:
            return
        self._began = time.monotonic()
        self._thread = threading.Thread(
            target=self._learn, args=(on, opened_s, early, self._round), name="learn", daemon=True
        )
        self._thread.start()

    def forget(self) -> None:
        """Drop what was learnt, as feeds were not open when it was taken that they were."""
        self._round += 1
        self._began, self.forecast, self.learnt, self.said = -float("inf"), None, None, ""

    def _learn(
        self,
        on: SeenOnPlan,
        opened_s: Sequence[float | None] | None,
        early: Collection[str],
        number: int,
    ) -> None:
        try:
            openings = find_openings(self._job, on, opened_s)
            for name in set(early) - {one.name for one in openings if one.state == EARLY}:
                raise WetlineError(f"resin came up at {name} before it was open: not learnt from")
            learnt = fit_plan(self._job, on, opened_s, self.learnt, openings)
            if number == self._round:
                self.learnt, self.forecast, self.said = learnt, learnt_forecast(learnt, on), ""
        except WetlineError as error:
            self.said = str(error)
        except Exception as error:  # pictures and board must go on whatever happens here
            self.said = f"stopped by a fault: {error!r}"

    def wait(self, timeout_s: float) -> None:
        """Wait for the fit that goes on."""
        if self._thread is not None:
            self._thread.join(timeout_s)
