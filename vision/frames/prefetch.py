"""Decoding the next frame while the last one is measured."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Generic, TypeVar

T = TypeVar("T")
S = TypeVar("S")

WORKERS = 2
"""Threads that decode at once: decoding lets go of Python's lock, and laptops have two cores."""


class Ahead(Generic[S, T]):
    """Yields ``work(item)`` for each item in order, a few worked on ahead of time.

    Parameters
    ----------
    work : callable
        Safe to call from several threads.
    items : sequence
    ahead : int
        Results made in advance at the most, so that memory stays small.

    Examples
    --------
    >>> list(Ahead(lambda n: n * n, range(5)))
    [0, 1, 4, 9, 16]
    """

    def __init__(self, work: Callable[[S], T], items: Sequence[S], ahead: int = WORKERS) -> None:
        self._work, self._items, self._ahead = work, items, ahead
        self._begun: dict[int, Future[T]] = {}

    def __iter__(self) -> Iterator[T]:
        """Yield the results in order.

        Raises
        ------
        Exception
            Whatever the work raised, at the item it raised it for.
        """
        count = len(self._items)
        with ThreadPoolExecutor(WORKERS) as pool:
            begun: dict[int, Future[T]] = {}
            self._begun = begun
            try:
                for i in range(count):
                    for j in range(i + len(begun), min(i + self._ahead + 1, count)):
                        begun[j] = pool.submit(self._work, self._items[j])
                    yield begun[i].result()
                    del begun[i]
            finally:
                self._begun = {}
                for future in begun.values():
                    future.cancel()

    def at(self, place: int) -> T:
        """Return one result by its place, without working twice on what is being given next."""
        future = self._begun.get(place)
        return self._work(self._items[place]) if future is None else future.result()


def prefetch(items: Iterable[T], ahead: int = 2) -> Iterator[T]:
    """Yield the same items in the same order, made by a thread of their own.

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
