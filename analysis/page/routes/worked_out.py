"""Recorded photos worked out from the page: begun, shown and stopped."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from analysis.page.access.rights import RUN
from analysis.page.jobs import Jobs
from analysis.page.routes.asked import Door, answer
from analysis.page.watches import Watches
from vision.errors import WetlineError


class WorkedOut:
    """The button that works out a panel or part whose photos are there.

    Parameters
    ----------
    watches : Watches
    jobs : Jobs
    """

    def __init__(self, watches: Watches, jobs: Jobs) -> None:
        self._watches, self._jobs = watches, jobs

    def doors(self) -> list[Door]:
        """Return the addresses."""
        panel = "/api/panels/{panel}"
        return [
            Door(panel + "/run", self.begin, RUN, "POST"),
            Door(panel + "/stop", self.stop, RUN, "POST"),
        ]

    async def begin(self, request: Request) -> Response:
        """Begin to work a recorded folder out."""
        name = request.path_params["panel"]
        folder = self._watches.panels.find(name)
        if self._watches.get(name) is not None:
            raise WetlineError("this run is on the board, which works out its result itself")
        await run_in_threadpool(self._jobs.start, name, folder)
        return answer({"ok": True})

    async def stop(self, request: Request) -> Response:
        """Stop it."""
        name = request.path_params["panel"]
        self._watches.panels.find(name)
        await run_in_threadpool(self._jobs.stop, name)
        return answer({"ok": True})
