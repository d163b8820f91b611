"""What was pressed and noted, with its time."""

import pytest

from tests.made_up.live_camera import START_S
from vision.errors import WetlineError
from vision.settings.event_log import (
    EVENT,
    NOTE,
    RESIN_OPEN,
    Stamp,
    add_stamp,
    read_stamps,
    stamped_clock_s,
)


def test_stamps_read_back(tmp_path):
    add_stamp(tmp_path, Stamp(START_S, RESIN_OPEN))
    add_stamp(tmp_path, Stamp(START_S + 60, NOTE, 'bag, "pressed"\ndown'))
    add_stamp(tmp_path, Stamp(START_S + 90, EVENT, "no picture for 30 s"))
    stamps = read_stamps(tmp_path)
    assert [s.kind for s in stamps] == [RESIN_OPEN, NOTE, EVENT]
    assert stamps[1].text == 'bag, "pressed" down'
    assert stamps[0].clock_s == START_S


def test_stamp_pressed_again_corrects_the_first(tmp_path):
    add_stamp(tmp_path, Stamp(START_S, RESIN_OPEN))
    add_stamp(tmp_path, Stamp(START_S + 20, RESIN_OPEN))
    assert stamped_clock_s(read_stamps(tmp_path), RESIN_OPEN) == START_S + 20


def test_stamps_with_a_bad_time_are_told(tmp_path):
    (tmp_path / "stamps.csv").write_text("clock,kind,text,photo\nsoon,note,,\n")
    with pytest.raises(WetlineError, match="line 2: clock = soon"):
        read_stamps(tmp_path)
