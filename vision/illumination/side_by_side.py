"""Frames that hang on none but themselves, worked on by two threads at once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

WORKERS = 2
"""Threads: OpenCV and NumPy let go of Python's lock, and laptops have two cores."""


def at_once(work: Callable[[int], None], count: int) -> None:
    """Call ``work(k)`` for each k below `count`, in any order; each must write its own place.

    Parameters
    ----------
    work : callable
        Safe to call from several threads.
    count : int

    Raises
    ------
    Exception
        Whatever the work raised first.

    Examples
    --------
    >>> squares = [0] * 4
    >>> at_once(lambda k: squares.__setitem__(k, k * k), 4)
    >>> squares
    [0, 1, 4, 9]
    """

    def share(first: int) -> None:
        for k in range(first, count, WORKERS):
            work(k)

    with ThreadPoolExecutor(WORKERS) as pool:
        for done in [pool.submit(share, first) for first in range(WORKERS)]:
            done.result()
