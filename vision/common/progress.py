"""Progress on the terminal: on standard error, and only when somebody watches."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

import click

T = TypeVar("T")


def bar(label: str, length: int, quiet: bool) -> Callable[[Iterable[T]], Iterator[T]]:
    """Wrap items in a progress bar.

    Parameters
    ----------
    label : str
        What is going on, in a word or two.
    length : int
        Number of items.
    quiet : bool
        Show nothing.
    """

    def wrap(items: Iterable[T]) -> Iterator[T]:
        if quiet or not sys.stderr.isatty():
            yield from items
            return
        with click.progressbar(items, length=length, label=label, file=sys.stderr) as watched:
            yield from watched

    return wrap
