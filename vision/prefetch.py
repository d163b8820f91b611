"""Decoding the next frame while the last one is measured."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")


def prefetch(items: Iterable[T], ahead: int = 2) -> Iterator[T]:
    """Give the same items in the same order, made by a thread of their own.

    Parameters
    ----------
    items : iterable
    ahead : int
        Items made in advance at the most, so that memory stays small.

    Raises
    ------
    Exception
        Whatever making the items raised, at the place where it happened.

    Examples
    --------
    >>> list(prefetch(range(4)))
    [0, 1, 2, 3]
    """
    box: queue.Queue[tuple[T | None, Exception | None] | None] = queue.Queue(maxsize=ahead)
    stop = threading.Event()

    def put(item: tuple[T | None, Exception | None] | None) -> bool:
        while not stop.is_set():
            try:
                box.put(item, timeout=0.1)
                return True
            except queue.Full:
                continue
        return False

    def work() -> None:
        try:
            for item in items:
                if not put((item, None)):
                    return
            put(None)
        except Exception as error:
            put((None, error))

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    try:
        while True:
            entry = box.get()
            if entry is None:
                return
            item, error = entry
            if error is not None:
                raise error
            yield item  # type: ignore[misc]
    finally:
        stop.set()
        thread.join()
