"""Pairing, and what the desk decides: which device may do what, and who is forgotten.

Tested in tests/analysis/page/access/test_rights.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from analysis.page.access.pairing import CODE_S, SESSION_S, shown_code
from analysis.page.access.rights import PAIR, RIGHTS, Device, chosen_rights, right_words
from analysis.page.access.security import COOKIE, Guarded
from analysis.page.qr import qr_svg
from analysis.page.routes.asked import Door, answer, asked, caller, words
from analysis.page.stored.panels import Panels
from vision.errors import WetlineError

NOT_YOURS = "A device can only hand on what it may do itself."


class Desk:
    """Who is let in, and what with.

    Parameters
    ----------
    panels : Panels
    rules : Guarded
    address : callable
        Gives the address for phones; empty where nothing is shared.
    home : callable
        Gives the page on which a device begins.
    """

    def __init__(
        self,
        panels: Panels,
        rules: Guarded,
        address: Callable[[], str],
        home: Callable[[Device], str],
    ) -> None:
        self._panels, self._rules, self._address = panels, rules, address
        self._pairing, self._home = rules.pairing, home

    def doors(self) -> list[Door]:
        """Return the addresses."""
        return [
            Door("/pair", self.pair, None, "POST"),
            Door("/api/invite", self.invite, PAIR, "POST"),
            Door("/api/devices", self.devices, PAIR),
            Door("/api/devices/change", self.change, PAIR, "POST"),
            Door("/api/devices/forget", self.forget, PAIR, "POST"),
            Door("/api/devices/pardon", self.pardon, PAIR, "POST"),
        ]

    async def pair(self, request: Request) -> Response:
        """Open a session for a good code."""
        values = await asked(request)
        address = request.client.host if request.client else ""
        wait = self._pairing.wait_s(address)
        if wait > 0:
            text = f"Wait {math.ceil(wait)} s." if wait < 120 else "Ask at the desk to be let in."
            headers = {"Retry-After": str(math.ceil(wait))}
            return answer({"error": f"Too many wrong codes. {text}"}, 429, headers)
        opened = self._pairing.open_session(str(values.get("code", "")), address)
        if opened is None:
            text = "That is no code that is good now. Each is good once, and for ten minutes."
            return answer({"error": text}, 403)
        secret, device = opened
        said = answer({"ok": True, "to": self._home(device)})
        said.set_cookie(
            COOKIE,
            secret,
            max_age=int(SESSION_S),
            httponly=True,
            secure=self._rules.secure,
            samesite="strict",
        )
        return said

    async def invite(self, request: Request) -> Response:
        """Make a code for one more device, with its picture to scan."""
        if not self._address():
            raise HTTPException(404)
        values = await asked(request)
        rights, panel = self._choice(values)
        if not caller(request).may_hand_on(rights, panel):
            return answer({"error": NOT_YOURS}, 403)
        made = self._pairing.invite(rights, panel, words(values.get("name")))
        return answer(
            {
                "code": shown_code(made.code),
                "address": self._address(),
                "seconds": CODE_S,
                "svg": qr_svg(f"{self._address()}#{made.code}"),
                "words": right_words(rights),
            }
        )

    def _choice(self, values: dict[str, Any]) -> tuple[frozenset[str], str | None]:
        panel = values.get("panel") or None
        if panel is not None:
            panel = str(panel)
            self._panels.find(panel)
        return chosen_rights(values.get("rights"), panel), panel

    async def devices(self, request: Request) -> Response:
        """List the devices that are in, who is locked out, and what happened at the door."""
        mine = caller(request)
        listed = [
            {
                "key": device.key,
                "name": device.name,
                "rights": sorted(device.rights),
                "panel": device.panel,
                "address": device.address,
                "quiet_s": round(quiet_s),
                "mine": device.key == mine.key,
                "yours": mine.may_hand_on(device.rights, device.panel),
            }
            for device, quiet_s in self._pairing.devices()
        ]
        allowed = {right: text for right, text in RIGHTS.items() if right in mine.rights}
        return answer(
            {
                "devices": listed,
                "rights": allowed,
                "panels": [name for name in self._panels.folders() if mine.may(PAIR, name)],
                "all_panels": mine.panel is None,
                "locked": self._pairing.locked_out(),
                "events": self._pairing.events.lines()[:20],
                "shared": bool(self._address()),
            }
        )

    def _theirs(self, request: Request, values: dict[str, Any]) -> Device:
        """Return the device that is meant, which is another one, with no right the caller lacks.

        Raises
        ------
        WetlineError, HTTPException
        """
        mine, key = caller(request), str(values.get("key", ""))
        found = next((d for d, _ in self._pairing.devices() if d.key == key), None)
        if found is None:
            raise WetlineError("no such device: it may have been forgotten already")
        if found.key == mine.key:
            raise WetlineError("this is the device in your hand: change it from another one")
        if not mine.may_hand_on(found.rights, found.panel):
            raise HTTPException(403, NOT_YOURS)
        return found

    async def change(self, request: Request) -> Response:
        """Change what a device may do."""
        values = await asked(request)
        device = self._theirs(request, values)
        rights, panel = self._choice(values)
        if not caller(request).may_hand_on(rights, panel):
            return answer({"error": NOT_YOURS}, 403)
        self._pairing.change(device.key, rights, panel, words(values.get("name")))
        return answer({"ok": True})

    async def forget(self, request: Request) -> Response:
        """End a device's session at once."""
        self._pairing.forget(self._theirs(request, await asked(request)).key)
        return answer({"ok": True})

    async def pardon(self, request: Request) -> Response:
        """Let an address try codes again."""
        values = await asked(request)
        return answer({"ok": self._pairing.pardon(str(values.get("address", "")))})
