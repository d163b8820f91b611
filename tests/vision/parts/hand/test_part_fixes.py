"""Points by hand in a part's arrival map: gone through, told, and refused where they cannot be."""

import shutil
from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.seen.made_from import plan_stamp
from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from tests.made_up.parts.made_part import made_part
from tests.vision.parts.test_track_part import tracked
from vision.errors import WetlineError
from vision.parts.hand.part_fixes import bent, with_live_fixes
from vision.parts.track_part import track_part_folder

PLACE = (400.0, 60.0)
FAR = (60.0, 290.0)


def at(seen, field, place):
    row = int(np.argmin(np.abs(seen.y_mm - place[1])))
    return field[row, int(np.argmin(np.abs(seen.x_mm - place[0])))]


def camera():
    return part_camera(read_part(made_part("hole")))


def later(by_s):
    """The part as it was seen, and with a point by hand at PLACE so many seconds later."""
    seen, _ = tracked("hole")
    points = np.array([[at(seen, seen.time_s, PLACE) + by_s, *PLACE]])
    return seen, bent(camera(), seen, points)


def test_the_map_goes_through_the_point_and_stays_far_from_it():
    seen, after = later(40.0)
    assert at(after, after.time_s, PLACE) == pytest.approx(at(seen, seen.time_s, PLACE) + 40, abs=2)
    assert at(after, after.time_s, FAR) == pytest.approx(at(seen, seen.time_s, FAR), abs=1.0)
    assert np.array_equal(np.isnan(after.time_s), ~seen.inside)


def test_what_the_point_moves_stays_in_doubt_and_the_share_follows():
    seen, after = later(40.0)
    near = (PLACE[0] - 40, PLACE[1] + 20)
    moved = at(after, after.time_s, near) - at(seen, seen.time_s, near)
    assert moved > 10
    assert at(after, after.sd_s, near) >= 0.3 * moved
    assert (after.wetted_share <= seen.wetted_share + 1e-9).all()
    assert after.wetted_share.sum() < seen.wetted_share.sum()


def test_a_place_that_was_hidden_counts_as_seen_at_the_point():
    seen, _ = tracked("hole")
    hidden = replace(seen, seen=np.zeros_like(seen.seen))
    after = bent(camera(), hidden, np.array([[at(seen, seen.time_s, PLACE), *PLACE]]))
    assert at(after, after.seen, PLACE)
    assert not at(after, after.seen, FAR)


def test_points_that_change_nothing_change_nothing():
    seen, after = later(0.0)
    inside = np.isfinite(seen.time_s) & np.isfinite(after.time_s)
    assert np.abs(after.time_s[inside] - seen.time_s[inside]).max() < 0.5
    assert after.warnings[-1].startswith("fix.csv: its points by hand are taken as the truth")


def test_a_point_far_from_what_was_clearly_seen_puts_the_run_in_doubt():
    seen, near = later(40.0)
    assert near.doubts == seen.doubts
    far_s = 0.25 * seen.last_s
    _, after = later(far_s)
    assert len(after.doubts) == len(seen.doubts) + 1
    was = at(seen, seen.time_s, PLACE)
    assert f"at (400, 60) mm at {(was + far_s) / 60:.1f} min" in after.doubts[-1]
    assert f"clearly saw {was / 60:.1f} min" in after.doubts[-1]
    hidden = replace(seen, seen=np.zeros_like(seen.seen))
    assert bent(camera(), hidden, np.array([[was + far_s, *PLACE]])).doubts == seen.doubts


def test_two_points_that_cannot_both_be_are_a_doubt_live_and_refused_in_a_run(folder):
    seen, _ = tracked("hole")
    was = at(seen, seen.time_s, PLACE)
    rows = f"{was:.1f},400,60\n{was + 0.3 * seen.last_s:.1f},405,62\n"
    (folder / "fix.csv").write_text(f"time_s,x_mm,y_mm\n{rows}", encoding="utf-8")
    doubtful = with_live_fixes(part_camera(read_part(folder)), seen)
    assert "keep the one that is right" in doubtful.doubts[0]
    assert np.array_equal(doubtful.time_s, seen.time_s, equal_nan=True)
    with pytest.raises(WetlineError, match="the front passes a place once"):
        track_part_folder(part_camera(read_part(folder)))


@pytest.fixture
def folder(tmp_path):
    home = tmp_path / "cover"
    shutil.copytree(made_part("hole"), home, ignore=shutil.ignore_patterns("truth*", "results"))
    return home


def test_a_run_takes_them_from_its_folder_and_says_so(folder):
    seen, _ = tracked("hole")
    before = plan_stamp(folder / "part.toml")
    time_s = at(seen, seen.time_s, PLACE) + 30
    (folder / "fix.csv").write_text(f"time_s,x_mm,y_mm\n{time_s:.1f},400,60\n", encoding="utf-8")
    assert plan_stamp(folder / "part.toml") != before
    after = track_part_folder(part_camera(read_part(folder))).seen
    assert at(after, after.time_s, PLACE) == pytest.approx(time_s, abs=2)
    told = [text for text in after.warnings if text.startswith("fix.csv")]
    assert len(told) == 1
    assert "30 s later, at (400, 60) mm" in told[0]


def test_points_act_live_and_what_hinders_them_is_a_doubt(folder):
    seen, _ = tracked("hole")
    one = part_camera(read_part(folder))
    assert with_live_fixes(one, seen) is seen
    time_s = at(seen, seen.time_s, PLACE) + 30
    (folder / "fix.csv").write_text(f"time_s,x_mm,y_mm\n{time_s:.1f},400,60\n", encoding="utf-8")
    after = with_live_fixes(one, seen)
    assert at(after, after.time_s, PLACE) == pytest.approx(time_s, abs=2)
    assert after.doubts == seen.doubts
    for text, why in (
        ("time_s,x_mm,y_mm\n60,900,60\n", "lies off the part"),
        ("clock,x_mm,y_mm\n10:05:00,400,60\n", "for the board give time_s or time_min"),
    ):
        (folder / "fix.csv").write_text(text, encoding="utf-8")
        doubtful = with_live_fixes(one, seen)
        assert np.array_equal(doubtful.time_s, seen.time_s, equal_nan=True)
        assert doubtful.doubts[0].startswith("fix.csv is not taken in yet: ")
        assert why in doubtful.doubts[0]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("60,900,60", "lies off the part"),
        ("60,260,160", "lies off the part"),  # in its opening
        ("-5,400,60", "before resin start"),
        ("99999,400,60", "after the last photo"),
        ("soon,400,60", "fix.csv"),
    ],
)
def test_a_point_that_cannot_be_is_refused(folder, row, words, monkeypatch):
    seen, _ = tracked("hole")
    (folder / "fix.csv").write_text(f"time_s,x_mm,y_mm\n{row}\n", encoding="utf-8")
    monkeypatch.setattr("vision.parts.track_part.PartTracker.read", lambda *a: seen)
    monkeypatch.setattr("vision.parts.track_part.PartTracker.add", lambda *a: None)
    with pytest.raises(WetlineError, match=words):
        track_part_folder(part_camera(read_part(folder)))
