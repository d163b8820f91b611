"""A new panel, from the page.

Tested in tests/analysis/page/stored/test_made_panel.py.
"""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from analysis.page.access.rights import RUN
from analysis.page.routes.asked import Door, answer, asked, caller
from analysis.page.stored.made_panel import make_panel
from analysis.page.stored.panels import Panels
from analysis.panel.new_panel import ASKS


class Begin:
    """What a new panel is asked for, and its making.

    Parameters
    ----------
    panels : Panels
    """

    def __init__(self, panels: Panels) -> None:
        self._panels = panels

    def doors(self) -> list[Door]:
        """Return the addresses."""
        return [
            Door("/api/new", self.questions, RUN),
            Door("/api/new", self.make, RUN, "POST"),
        ]

    async def questions(self, request: Request) -> Response:
        """Return what is asked."""
        asks = [{"option": ask.option, "question": ask.question} for ask in ASKS]
        return answer({"asks": asks})

    async def make(self, request: Request) -> Response:
        """Make the panel; only a device that may see to all of them can add one."""
        values = await asked(request)
        if caller(request).panel is not None:
            return answer({"error": "This device is for one panel: add others at the desk."}, 403)
        panel, questions = await run_in_threadpool(make_panel, self._panels, values)
        return answer({"ok": True, "id": panel, "questions": questions})
