"""Frames made ahead: in order, never twice, and errors where they happened."""

import pytest

from vision.errors import WetlineError
from vision.frames.prefetch import Ahead, prefetch


def test_prefetch_hands_on_the_error_where_it_happened():
    def items():
        yield 1
        raise WetlineError("photo 2 is cut short")

    stream = prefetch(items())
    assert next(stream) == 1
    with pytest.raises(WetlineError, match="photo 2"):
        next(stream)


def test_prefetch_can_be_left_early():
    stream = prefetch(iter(range(10**9)))
    assert next(stream) == 0
    stream.close()


def test_what_is_worked_on_ahead_is_not_made_twice():
    made = []

    def work(item):
        made.append(item)
        return item * 10

    source = Ahead(work, range(8), ahead=3)
    stream = iter(source)
    assert next(stream) == 0
    assert [source.at(place) for place in (0, 2, 3)] == [0, 20, 30]
    assert list(stream) == [10, 20, 30, 40, 50, 60, 70]
    assert sorted(made) == list(range(8))
    assert source.at(2) == 20
    assert made.count(2) == 2
