"""Reading what a request says, and writing what is answered.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

import asyncio
import json
import math
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from analysis.page.access.rights import Device
from vision.common.atomic_files import plain
from vision.common.outside.input_files import plain_text
from vision.errors import WetlineError

Handler = Callable[[Request], Awaitable[Response]]

MOST_JSON = 20_000
BODY_S = 120.0
"""In which a picture must have come: 25 MB at 2 Mbit/s."""
JSON_S = 15.0
MOST_NOTE, MOST_TAPS = 300, 100


@dataclass(frozen=True)
class Door:
    """One address of the page, and the right that opens it.

    Attributes
    ----------
    path : str
    handler : callable
    right : str or None
        None where any paired device may come in.
    method : str
    """

    path: str
    handler: Handler
    right: str | None
    method: str = "GET"


def answer(values: object, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    """Answer with JSON, whatever names and numbers are in it: never a fault of the encoder."""
    text = plain_text(json.dumps(plain(values), ensure_ascii=False))
    return Response(text, status, headers, media_type="application/json")


def caller(request: Request) -> Device:
    """Return the paired device that asks."""
    device: Device = request.state.device
    return device


async def body(request: Request, most: int, within_s: float = BODY_S) -> bytes:
    """Read a body up to a size; a longer one is cut off, whatever its header claims."""
    claimed = request.headers.get("content-length", "0")
    if claimed.isdecimal() and int(claimed) > most:
        raise HTTPException(413, f"larger than {most // 1000} kB")
    data = bytearray()
    try:
        async with asyncio.timeout(within_s):
            async for part in request.stream():
                data += part
                if len(data) > most:
                    raise HTTPException(413, f"larger than {most // 1000} kB")
    except TimeoutError:
        raise HTTPException(408, "too slow: send it again", {"Connection": "close"}) from None
    return bytes(data)


async def asked(request: Request) -> dict[str, Any]:
    """Read a JSON object."""
    try:
        values = json.loads(await body(request, MOST_JSON, JSON_S) or b"{}")
    except (ValueError, RecursionError):
        raise WetlineError("request: not understood") from None
    if not isinstance(values, dict):
        raise WetlineError("request: not understood")
    return values


def number(value: object, name: str) -> float:
    """Read a number, or say which one is none."""
    try:
        read = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        raise WetlineError(f"{name}: must be a number") from None
    if not math.isfinite(read):
        raise WetlineError(f"{name}: must be a number")
    return read


def words(value: object, most: int = MOST_NOTE) -> str:
    """Read a text as one plain line of at most `most` letters; empty where there is none.

    A longer one is refused, not cut: what was written down would end in the middle.
    """
    line = plain_text(" ".join(value.split())) if isinstance(value, str) else ""
    if len(line) > most:
        raise WetlineError(f"the text has {len(line)} letters: write at most {most}")
    return line


def header_words(request: Request, name: str) -> str:
    """Read a text that a header carries with ``%`` for what headers cannot hold."""
    return words(unquote(request.headers.get(name, ""), errors="replace"))


def points(value: object) -> list[tuple[float, float]]:
    """Read a list of up to eight (x, y)."""
    if not isinstance(value, list) or len(value) > 8:
        raise WetlineError("scale points: not understood")
    read = []
    for item in value:
        if not (isinstance(item, list) and len(item) == 2):
            raise WetlineError("scale points: not understood")
        read.append((number(item[0], "x"), number(item[1], "y")))
    return read


def taps_asked(value: object) -> list[tuple[float, float] | None]:
    """Read tapped corners of a part; null stands for one that does not show."""
    if not isinstance(value, list):
        raise WetlineError("scale points: not understood")
    read = iter(points([item for item in value if item is not None]))
    return [None if item is None else next(read) for item in value[:MOST_TAPS]]
