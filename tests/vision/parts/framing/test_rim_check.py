"""A plan of another part under right cards: found by what stands at the part's rim."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from tests.made_up.parts.made_part import made_part
from tests.vision.parts.test_track_part import tracked
from vision.part_records import PartShape
from vision.parts.framing.rim_check import RimCheck, rim_doubts
from vision.parts.track_part import track_part_folder

RIGHT = np.array([[0.0, 0], [480, 0], [480, 320], [0, 320]])  # of the made-up part "hole"


def seen_with(outline):
    camera = part_camera(read_part(made_part("hole")))
    return track_part_folder(
        replace(camera, shape=replace(camera.shape, outline_mm=np.asarray(outline, float)))
    ).seen


def test_a_right_outline_is_not_doubted():
    seen, _ = tracked("hole")
    assert not any("outline" in text for text in (*seen.doubts, *seen.warnings))


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        (RIGHT * [0.85, 1.0], ("past the outline wets as the part does", "at its right")),
        (RIGHT * [1.0, 0.85], ("past the outline wets as the part does", "at its lower side")),
        (RIGHT * [1.15, 1.0], ("mm short of the outline", "at its right")),
        (RIGHT * [1.0, 1.15], ("mm short of the outline", "at its lower side")),
    ],
)
def test_a_plan_of_another_size_is_in_doubt(outline, words):
    seen = seen_with(outline)
    told = [text for text in seen.doubts if "outline, cards or tapped points" in text]
    assert len(told) == 1
    assert all(word in told[0] for word in words)


def test_a_plan_that_lies_elsewhere_is_in_doubt_both_ways():
    told = [text for text in seen_with(RIGHT - np.array([50.0, 0.0])).doubts if "outline" in text]
    assert any("past the outline" in text and "at its right" in text for text in told)
    assert any("short of the outline" in text and "at its left" in text for text in told)


def check(goes_on=(), short=()):
    """A check of 100 places along the right side of a part with y up, some of them flagged."""
    flags = [np.isin(np.arange(100), places) for places in (goes_on, short)]
    at = np.column_stack([np.full(100, 400.0), np.linspace(0, 300, 100)])
    return RimCheck(at, np.ones(100, bool), *flags, np.full(100, 42.0))


def test_a_little_is_asked_about_much_is_a_doubt_and_less_is_nothing():
    shape = PartShape("cover", np.array([[0.0, 0], [400, 0], [400, 300], [0, 300]]), (), (), "up")
    assert rim_doubts(shape, check(range(4))) == ((), ())
    doubts, warnings = rim_doubts(shape, check(range(92, 100)))
    assert (len(doubts), len(warnings)) == (0, 1)
    assert "at its right" in warnings[0] or "at its upper side" in warnings[0]
    doubts, warnings = rim_doubts(shape, check(short=range(30, 70)))
    assert (len(doubts), len(warnings)) == (1, 0)
    assert "about 40 mm short of the outline" in doubts[0]
    assert "along 40 % of its length" in doubts[0]
