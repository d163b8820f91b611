"""The board while a run goes on, and what happens when things go wrong at the panel."""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.commands.live import watch
from analysis.page.board_view import board_view
from analysis.runs.panels.good_run import reference_from
from analysis.watch.alarms import ACT
from analysis.watch.board import ENDED, NOT_YET, RUNNING
from tests.made_up.live_run import front_mm, write_panel
from tests.made_up.live_shop import FULL_S, START_S, Shop
from vision.cameras.frame_store import FrameStore
from vision.common.atomic_files import read_json
from vision.errors import WetlineError
from vision.frames.source import open_frames
from vision.settings.event_log import CLAMP, EVENT, NOTE, RESIN_OPEN, read_stamps
from vision.settings.panel_settings import read_setup


@pytest.mark.parametrize("last_s", [-30.0, 300.0])
def test_a_note_without_a_new_picture_renews_the_board(tmp_path, last_s):
    # Numbers hold arrays, which do not compare by ==: a second look at the same pictures raised.
    times = np.linspace(1.0, 700.0, 50)
    good = (reference_from("good", times, np.sqrt(120.0 * times)),)
    with Shop(write_panel(tmp_path / "strip"), references=good) as shop:
        for t in np.arange(-90.0, last_s + 1.0, 30.0):
            shop.take(t)
        for _ in range(2):
            shop.t += 12.0
            shop.watch.stamp(NOTE, "pump checked")
            shop.watch.follow_once(0.0)
        assert (shop.watch.board.numbers.beside is not None) == (last_s > 0)


def test_a_run_without_pictures_says_that_the_front_is_overdue(tmp_path):
    with Shop(write_panel(tmp_path / "strip")) as shop:
        for t in np.arange(-90.0, 451.0, 30.0):
            if t == 0.0:
                shop.t = 0.0
                shop.watch.stamp(RESIN_OPEN)
            shop.take(t)
        assert "overdue" not in shop.told()
        shop.t = 1.3 * FULL_S
        shop.watch.follow_once(0.0)
        assert {"silent", "overdue"} <= set(shop.told())
        view = board_view(shop.watch, shop.watch.board)
        assert view["overdue"]
        assert view["end_text"].startswith("OVERDUE")
        assert "OVERDUE" in view["chart_text"]


def test_a_front_that_the_photos_do_not_bear_out_is_said_to_be_in_doubt(tmp_path):
    with Shop(write_panel(tmp_path / "strip")) as shop:
        for t in np.arange(-90.0, 541.0, 30.0):
            if t == 0.0:
                shop.t = 0.0
                shop.watch.stamp(RESIN_OPEN)
            shop.take(t, look=t < 90.0 or t > 400.0, dries=t >= 240.0)
            if t == 30.0:
                assert "doubt" not in shop.told()
        (alarm,) = (a for a in shop.watch.board.alarms if a.key == "doubt")
        assert alarm.text == "The front that is shown may be wrong"
        assert "photos" in alarm.todo


@pytest.fixture(scope="module")
def whole_run(tmp_path_factory):
    """A run from the dry panel to the clamp; boards by time since resin start."""
    folder = write_panel(tmp_path_factory.mktemp("run") / "strip")
    boards = {}
    with Shop(folder) as shop:
        for t in np.arange(-90.0, 901.0, 30.0):
            if t == 0.0:
                shop.t = 0.0
                shop.watch.stamp(RESIN_OPEN)
            if t == 810.0:
                shop.watch.stamp(CLAMP)
            shop.take(t)
            boards[t] = shop.watch.board
        for _ in range(3):
            shop.watch.follow_once(0.0)
        boards["end"] = shop.watch.board
        boards["chart"] = shop.watch.picture_jpeg()
    return folder, boards


def test_board_shows_the_front(whole_run):
    _, boards = whole_run
    for t in (240.0, 420.0, 600.0):
        front = boards[t].numbers.front
        assert front.settled
        assert front.mean_mm == pytest.approx(front_mm(t), abs=3.0)
        # d/dt sqrt(k t) = k / (2 x); the speed is a mean over six frames that end two ago
        middle = t - 2 * 30.0 - 2.5 * 30.0
        assert front.speed_mm_min == pytest.approx(60 * 120.0 / (2 * front_mm(middle)), rel=0.15)


def test_forecast_from_half_way_on_is_within_10_percent_and_its_band_holds(whole_run):
    _, boards = whole_run
    # Half way in distance is a quarter of the time (x = sqrt(k t)).
    times = [t for t in boards if isinstance(t, float) and 0.3 * FULL_S < t < 0.95 * FULL_S]
    assert len(times) >= 10
    for t in times:
        end = boards[t].numbers.end
        assert end.end_s == pytest.approx(FULL_S, rel=0.10)
        assert end.low_s < end.end_s < end.high_s
    held = [boards[t].numbers.end for t in times]
    inside = [e.low_s - 5.0 <= FULL_S <= e.high_s + 5.0 for e in held]
    assert np.mean(inside) > 0.8


def test_run_ends_three_frames_after_the_clamp(whole_run):
    folder, boards = whole_run
    assert boards[780.0].state == RUNNING
    assert boards["end"].state == ENDED
    assert boards["end"].final[1].label == "Verdict"
    assert (folder / "results" / "report.html").is_file()
    assert read_json(folder / "results" / "results.json")["front"]["filled"]


def test_live_front_is_close_to_the_final_one(whole_run):
    last = whole_run[1]["end"].final[-1].text
    assert last.startswith("Live front against the final result: ")
    assert float(last.split(":")[1].split("mm")[0]) < 2.0


def test_frames_are_on_disk_and_the_run_can_be_tracked_again(whole_run):
    folder, boards = whole_run
    with open_frames(read_setup(folder)) as frames:
        # Those that came after the end are refused.
        assert len(frames) == boards["end"].frames
        assert frames.clock_s[0] == START_S - 90.0


# -- faults


def test_stalled_front_is_told(tmp_path):
    with Shop(write_panel(tmp_path / "p")) as shop:
        shop.watch.stamp(RESIN_OPEN, age_s=-0.0)
        for t in np.arange(-90.0, 420.0, 30.0):
            if t == 0.0:
                shop.t = 0.0
                shop.watch.stamp(RESIN_OPEN)
            shop.take(t, stop_mm=160.0, look=t > 300)
        assert "stall" in shop.told()


def test_gel_before_the_end_is_told(tmp_path):
    with Shop(write_panel(tmp_path / "p", gel_min=9.0)) as shop:
        for t in np.arange(-90.0, 361.0, 30.0):
            if t == 0.0:
                shop.t = 0.0
                shop.watch.stamp(RESIN_OPEN)
            shop.take(t, look=t > 340)
        (alarm,) = [a for a in shop.watch.board.alarms if a.key == "gel"]
        assert alarm.level == ACT
        assert "gel at 9.0 min, end at 1" in alarm.text


def test_camera_that_goes_silent_is_told_and_the_gap_noted(tmp_path):
    folder = write_panel(tmp_path / "p")
    with Shop(folder) as shop:
        for t in (-90.0, -60.0, -30.0, 0.0):
            shop.take(t)
        assert "silent" not in shop.told()
        shop.t = 150.0
        shop.watch.follow_once(0.0)
        (alarm,) = [a for a in shop.watch.board.alarms if a.key == "silent"]
        assert alarm.level == ACT
        assert alarm.text == "No picture for 2 min"
        shop.take(160.0)
        assert "silent" not in shop.told()
    assert [s.text for s in read_stamps(folder) if s.kind == EVENT] == ["no picture for 160 s"]


def test_phone_offline_for_two_minutes_loses_nothing(tmp_path):
    folder = write_panel(tmp_path / "p")
    with Shop(folder, interval_s=10.0) as shop:
        for t in np.arange(-60.0, 200.0, 20.0):
            if t == 0.0:
                shop.t = 0.0
                shop.watch.stamp(RESIN_OPEN)
            shop.take(t, look=t == 180)
        shop.t = 320.0
        shop.watch.follow_once(0.0)
        assert "silent" in shop.told()
        for t in np.arange(200.0, 320.0, 20.0):  # what waited on the phone comes at once
            shop.take(t, age_s=325.0 - t, look=False)
        shop.watch.follow_once(0.0)
        assert "silent" not in shop.told()
        board = shop.watch.board
        assert board.numbers.front.mean_mm == pytest.approx(front_mm(300.0), abs=4.0)
        assert board.numbers.time_s[-1] == pytest.approx(260.0, abs=0.1)
    with open_frames(read_setup(folder)) as frames:
        np.testing.assert_allclose(np.diff(frames.clock_s), 20.0, atol=0.002)


def test_second_watcher_is_refused_politely(tmp_path):
    folder = write_panel(tmp_path / "p")
    with Shop(folder):
        with pytest.raises(WetlineError, match="is being watched already since"):
            Shop(folder).__enter__()
        told = CliRunner().invoke(watch, [str(folder), "--camera", "phone", "--quiet"])
        assert "is being watched already" in str(told.exception)
    with Shop(folder):
        pass  # and let go afterwards


KILLED = """
import sys, time
from pathlib import Path
import numpy as np
from tests.made_up.live_run import photo
from tests.made_up.live_shop import Shop
from vision.settings.event_log import RESIN_OPEN
with Shop(Path(sys.argv[1])) as shop:
    for t in np.arange(-60.0, 241.0, 20.0):
        if t == 0:
            shop.t = 0.0
            shop.watch.stamp(RESIN_OPEN)
        shop.take(t, look=False)
    print("ready", flush=True)
    time.sleep(600)
"""


def test_killed_run_goes_on(tmp_path):
    folder = write_panel(tmp_path / "p")
    root = Path(__file__).resolve().parents[3]
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(folder)], cwd=root, stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout.readline().strip() == "ready"
    finally:
        process.kill()  # SIGKILL: no clean-up runs
        process.wait()
        process.stdout.close()
    with Shop(folder) as shop:
        shop.t = 250.0
        assert shop.watch.board.frames == 16
        assert shop.watch.board.state == RUNNING
        assert shop.watch.board.start_clock_s == START_S
        for t in (260.0, 280.0, 300.0):
            shop.take(t)
        assert shop.watch.board.numbers.front.mean_mm == pytest.approx(front_mm(300.0), abs=4.0)
        assert shop.watch.board.frames == 19
    assert not [p for p in (folder / "frames").iterdir() if p.name.startswith(".part")]


def test_full_disk_is_told_and_nothing_is_lost(tmp_path):
    folder = write_panel(tmp_path / "p")
    full, free = [False], [10**12]

    def write(path, data):
        if full[0]:
            raise WetlineError(f"{path.name}: cannot be written (No space left on device)")
        path.write_bytes(data)

    store = FrameStore(folder / "frames", free_bytes=lambda _: free[0], write=write)
    with Shop(folder, store=store) as shop:
        assert shop.take(-90.0)
        free[0] = 10**8
        shop.t = -70.0
        shop.watch.follow_once(0.0)
        assert shop.told() == ["space"]  # before it is full
        full[0] = True
        assert not shop.take(-60.0)  # the phone keeps it too
        assert shop.told()[0] == "disk"
        full[0] = False
        assert shop.take(-30.0)
        assert "disk" not in shop.told()
    assert len(list((folder / "frames").glob("*.jpg"))) == 3


def test_clock_stepped_back_in_mid_run(tmp_path):
    folder = write_panel(tmp_path / "p")
    with Shop(folder) as shop:
        for t in (-90.0, -60.0, -30.0, 0.0):
            shop.take(t)
        shop.wall_step = -3600.0
        for t in (30.0, 60.0, 90.0):
            shop.watch.recorder.once(0.0)
            shop.take(t)
    with open_frames(read_setup(folder)) as frames:
        np.testing.assert_allclose(np.diff(frames.clock_s), 30.0, atol=0.002)
    assert any("set back by 3600 s" in s.text for s in read_stamps(folder))


def test_fault_in_the_tracker_does_not_stop_the_recording(tmp_path, monkeypatch):
    folder = write_panel(tmp_path / "p")
    monkeypatch.setattr("analysis.watch.run._TOUCH_S", 0.01)
    with Shop(folder) as shop:
        monkeypatch.setattr(
            shop.watch.feed, "measure", lambda _: (_ for _ in ()).throw(ZeroDivisionError("oops"))
        )
        shop.watch.start()
        shop.take(-90.0, look=False)
        until = time.monotonic() + 60
        while "Pictures are saved, but" not in shop.watch.board.todo and time.monotonic() < until:
            time.sleep(0.01)
        assert "oops" in shop.watch.board.todo
        assert shop.take(-60.0, look=False)
    assert len(list((folder / "frames").glob("*.jpg"))) == 2


def test_board_asks_for_the_corners(tmp_path):
    with Shop(write_panel(tmp_path / "p", scale=False)) as shop:
        shop.take(-90.0)
        assert shop.watch.board.state == NOT_YET
        assert shop.watch.board.todo.startswith("Tap the panel's four corners")
        write_panel(tmp_path / "p")
        shop.watch.scale_changed()
        for t in (-60.0, -30.0, 0.0):
            shop.take(t)
        assert shop.watch.board.todo == ""
