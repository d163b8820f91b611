"""A bar where somebody watches, lines where nobody does, nothing when asked to be quiet."""

import io
from pathlib import Path

import pytest

from analysis.batch.one_panel import DONE, Order, Outcome
from analysis.batch.progress_line import ProgressLine, time_left
from analysis.batch.workers import Finished, Progress

ORDERS = [Order(name, Path(name), {}, "new", {}, weight=w) for name, w in (("a", 3.0), ("b", 1.0))]
WORDS = [
    Progress(ORDERS[0], 0.5),
    Finished(ORDERS[0], Outcome("a", DONE, spent_s=4.0)),
    Finished(ORDERS[1], Outcome("b", DONE, spent_s=2.0)),
]


class Screen(io.StringIO):
    def isatty(self):
        return True


def shown_on(stream, quiet=False):
    line = ProgressLine(stream, quiet)
    handed = list(line.checking(iter("xy"), 2)) + list(line.working(iter_of(WORDS), ORDERS))
    assert handed == ["x", "y", *WORDS]
    return stream.getvalue()


def iter_of(words):
    yield from words


def test_the_bar_is_weighted_by_the_work(monkeypatch):
    text = shown_on(Screen())
    bars = [part.count("#") for part in text.split("\r") if "of 2 panels" in part]
    assert bars == [12, 24, 9, 18, 24]  # looked through 1, 2; then 3/8, 3/4 and all of the work
    assert text.endswith("\x1b[2K")


def test_each_panel_is_a_line_where_nobody_watches():
    assert shown_on(io.StringIO()).splitlines() == [
        "1 of 2: a: done in 4 s",
        "2 of 2: b: done in 2 s",
    ]


def test_quiet_is_quiet():
    assert shown_on(Screen(), quiet=True) == ""


def test_stopping_stops_the_work_too():
    ended = []

    def work():
        try:
            yield from WORDS
        finally:
            ended.append(True)

    words = ProgressLine(io.StringIO(), True).working(work(), ORDERS)
    next(words)
    words.close()
    assert ended == [True]


@pytest.mark.parametrize(
    ("share", "elapsed_s", "text"),
    [
        (0.5, 30.0, "about 30 s"),
        (0.9, 9.0, "about 5 s"),
        (0.5, 90.0, "about 2 min"),
        (0.1, 3600.0, "about 9.0 h"),
        (0.01, 100.0, ""),
        (0.5, 1.0, ""),
    ],
)
def test_time_left_in_words(share, elapsed_s, text):
    assert time_left(share, elapsed_s) == (f", {text} left" if text else "")
