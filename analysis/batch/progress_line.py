"""How far a batch is, and how long it will still take: on standard error, in one line."""

from __future__ import annotations

import math
import shutil
import time
from collections.abc import Generator, Iterable, Iterator, Sequence
from typing import TextIO, TypeVar

from analysis.batch.one_panel import Order
from analysis.batch.workers import Finished, Progress

T = TypeVar("T")
BAR = 24
LEAST_SHARE, LEAST_S = 0.02, 2.0
"""Before so much is done nothing is said about the time left."""


class ProgressLine:
    """Shows how far a batch is: a bar where somebody watches, else a line for each panel.

    Parameters
    ----------
    stream : text stream
    quiet : bool
        Show nothing.
    """

    def __init__(self, stream: TextIO, quiet: bool = False) -> None:
        self.stream, self.quiet = stream, quiet
        self.drawn = not quiet and stream.isatty()

    def checking(self, items: Iterable[T], count: int) -> Iterator[T]:
        """Hand items on while they are looked through."""
        for number, item in enumerate(items, 1):
            self._draw(number / count, f"looking through {number} of {count} panels")
            yield item
        self._clear()

    def working(
        self, words: Generator[Progress | Finished, None, None], orders: Sequence[Order]
    ) -> Generator[Progress | Finished, None, None]:
        """Hand on what is heard of panels in work, and show it; both end together."""
        whole = sum(order.weight for order in orders)
        shares = {order.name: 0.0 for order in orders}
        began, done = time.monotonic(), 0
        try:
            for word in words:
                order = word.order
                finished = isinstance(word, Finished)
                done += finished
                shares[order.name] = 1.0 if isinstance(word, Finished) else word.share
                share = sum(shares[one.name] * one.weight for one in orders) / whole
                left = time_left(share, time.monotonic() - began)
                self._draw(share, f"{done} of {len(orders)} panels{left}")
                if isinstance(word, Finished) and not self.drawn:
                    self._say(f"{done} of {len(orders)}: {_told(word)}{left}")
                yield word
        finally:
            self._clear()
            words.close()

    def _say(self, text: str) -> None:
        if not self.quiet:
            print(text, file=self.stream, flush=True)

    def _draw(self, share: float, text: str) -> None:
        if self.drawn:
            filled = round(BAR * share)
            wide = shutil.get_terminal_size().columns - 1
            line = f"[{'#' * filled}{'-' * (BAR - filled)}] {text}"
            print(f"\r\x1b[2K{line[:wide]}", end="", file=self.stream, flush=True)

    def _clear(self) -> None:
        if self.drawn:
            print("\r\x1b[2K", end="", file=self.stream, flush=True)


def time_left(share: float, elapsed_s: float) -> str:
    """Return the time that is left in words, empty while it cannot be known.

    Parameters
    ----------
    share : float
        Share of the work that is done.
    elapsed_s : float
        Time that it took.

    Examples
    --------
    >>> time_left(0.25, 60.0), time_left(0.5, 30.0), time_left(0.001, 60.0), time_left(1.0, 60.0)
    (', about 3 min left', ', about 30 s left', '', '')
    """
    if share < LEAST_SHARE or elapsed_s < LEAST_S or share >= 1.0:
        return ""
    left_s = elapsed_s * (1.0 - share) / share
    if left_s < 60.0:
        return f", about {max(5, 5 * math.ceil(left_s / 5))} s left"
    if left_s < 5400.0:
        return f", about {math.ceil(left_s / 60.0 - 1e-9)} min left"
    return f", about {left_s / 3600.0:.1f} h left"


def _told(word: Finished) -> str:
    outcome = word.outcome
    return f"{outcome.folder}: {outcome.state} in {outcome.spent_s:.0f} s"
