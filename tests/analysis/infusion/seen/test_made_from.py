"""Stamps of part.toml and photos."""

import pytest

from analysis.infusion.seen.made_from import made_from, plan_stamp
from tests.made_up.part_beside import LINE, PART
from vision.common.outside.version import wetline_version
from vision.settings.event_log import FEED_BACK, FEED_OPEN, NOTE, Stamp, add_stamp
from vision.settings.frame_settings import FrameSource

TEXT = PART.format(more="", feed=LINE, k1=1e-10, k2=1e-10, low=9e-11, high=2e-10)


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "part.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def stamp_of(plan, old, new):
    assert old in TEXT
    plan.write_text(TEXT.replace(old, new), encoding="utf-8")
    return plan_stamp(plan)


def test_names_comments_and_what_a_search_is_asked_for_do_not_count(plan):
    first = plan_stamp(plan)
    assert stamp_of(plan, "cover of a roof unit", "another name") == first
    assert stamp_of(plan, "[resin]", '[search]\nwish = "time"\n\n[resin] # said') == first
    assert stamp_of(plan, 'name = "left line"', 'name = "line A"') == first


@pytest.mark.parametrize(
    ("old", "new"),
    [("viscosity_mpas = 300", "viscosity_mpas = 310"), ("[600, 300], [0", "[601, 300], [0"),
     ("porosity = 0.5", "porosity = 0.51"), ("cells = 40", "cells = 41"),
     ("[grid]", "[frames]\nskip = [3]\n[grid]")],
)  # fmt: skip
def test_what_a_run_rests_on_counts(plan, old, new):
    first = plan_stamp(plan)
    assert stamp_of(plan, old, new) != first


def test_a_log_or_a_panel_that_is_named_counts_by_its_content(plan):
    folder = plan.parent
    plan.write_text(TEXT + '\n[a]\nlog = "bag.csv"\npanel = "panel_1"\n', encoding="utf-8")
    (folder / "bag.csv").write_text("time_s,bag_mbar\n0,50\n", encoding="utf-8")
    (folder / "panel_1" / "results").mkdir(parents=True)
    first = plan_stamp(plan)
    (folder / "bag.csv").write_text("time_s,bag_mbar\n0,60\n", encoding="utf-8")
    second = plan_stamp(plan)
    (folder / "panel_1" / "results" / "results.json").write_text("{}", encoding="utf-8")
    assert len({first, second, plan_stamp(plan)}) == 3


def test_a_feed_noted_as_open_counts_and_a_note_does_not(plan):
    first = plan_stamp(plan)
    add_stamp(plan.parent, Stamp(1.9e9, NOTE, "looks good"))
    assert plan_stamp(plan) == first
    add_stamp(plan.parent, Stamp(1.9e9 + 60.0, FEED_OPEN, "second line"))
    second = plan_stamp(plan)
    add_stamp(plan.parent, Stamp(1.9e9 + 90.0, FEED_BACK, "second line"))
    assert len({first, second, plan_stamp(plan)}) == 3


def test_photos_count_by_content_and_not_by_name(plan):
    frames = plan.parent / "frames"
    frames.mkdir()
    for k in range(3):
        (frames / f"p{k}.jpg").write_bytes(bytes([k]))
    (frames / "notes.txt").write_text("no photo", encoding="utf-8")
    made = made_from(plan, FrameSource(frames, "photos"))
    assert len(made.photos) == len(set(made.photos)) == 3
    assert (made.part_toml, made.wetline) == (plan_stamp(plan), wetline_version())
    (frames / "p0.jpg").rename(frames / "z.jpg")
    assert made_from(plan, FrameSource(frames, "photos")) == made
    film = frames / "p1.jpg"
    assert set(made_from(plan, FrameSource(film, "video")).photos) < set(made.photos)
