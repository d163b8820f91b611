"""The board while a run goes on, and what happens when things go wrong at the panel."""

import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.live_commands import page, watch
from analysis.watch import Watch
from analysis.watch_alarms import ACT, Situation, alarms_for
from analysis.watch_board import ENDED, NOT_YET, RUNNING, clock_text
from analysis.watch_forecast import speed_mm_min, stalled_now
from analysis.watch_gauge import add_reading, drawdown_text, read_readings, vacuum_lost
from analysis.watch_lock import FolderLock
from analysis.watch_reference import band_mm, compare, reference_from
from analysis.watch_terminal import Screen, board_lines, obey
from tests.live_run import front_mm, photo, write_panel
from vision.cameras import PhoneCamera
from vision.cameras_clock import SteadyClock
from vision.cameras_store import FrameStore
from vision.errors import WetlineError
from vision.files import read_json
from vision.frames import open_frames
from vision.setup import read_setup
from vision.stamps import CLAMP, EVENT, RESIN_OPEN, read_stamps

START_S = 1_933_000_000.0
FULL_S = 750.0


class Shop:
    """A watched run on a clock that the test moves; time 0 is resin start."""

    def __init__(self, folder, interval_s=30.0, store=None, **more):
        self.t, self.wall_step = -90.0, 0.0
        clock = SteadyClock(lambda: START_S + self.t + self.wall_step, lambda: self.t)
        self.watch = Watch(folder, PhoneCamera(), interval_s, clock=clock, store=store, **more)

    def __enter__(self):
        self.watch.__enter__()
        return self

    def __exit__(self, *_):
        self.watch.__exit__()

    def take(self, t, age_s=0.0, look=True, **more):
        self.t = t + age_s
        stored = self.watch.receive(photo(t, **more), age_s)
        if look:
            self.watch.follow_once(0.0)
        return stored

    def told(self):
        return [alarm.key for alarm in self.watch.board.alarms]


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
    assert "Verdict" in boards["end"].final[1]
    assert (folder / "results" / "report.html").is_file()
    assert read_json(folder / "results" / "results.json")["front"]["filled"]


def test_live_front_is_close_to_the_final_one(whole_run):
    last = whole_run[1]["end"].final[-1]
    assert last.startswith("Live front against the final result: ")
    assert float(last.split(":")[1].split("mm")[0]) < 2.0


def test_board_in_words(whole_run):
    _, boards = whole_run
    lines = board_lines(boards[420.0], 420.0)
    assert lines[0] == "Hatch cover strip: running"
    assert any(line.startswith("End:        in 5:") for line in lines)
    assert any("since resin start (stamped)" in line for line in lines)
    assert len(lines) <= 10


def test_terminal_draws_in_place_and_says_little_elsewhere(whole_run):
    import io

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    _, boards = whole_run
    terminal, file = Terminal(), io.StringIO()
    steady, plain = Screen(terminal), Screen(file)
    for k in range(20):
        steady.show(boards[420.0], 420.0 + k, float(k))
        plain.show(boards[420.0], 420.0 + k, float(k))
    assert terminal.getvalue().count("\x1b[") > 20
    assert terminal.getvalue().count("A\r") == 19  # goes back up each time
    assert file.getvalue().count("Front:") == 1  # once a minute


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
        assert "gel at 9 min, end at 1" in alarm.text


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
from tests.live_run import photo
from tests.analysis.test_watch import Shop
from vision.stamps import RESIN_OPEN
with Shop(Path(sys.argv[1])) as shop:
    for t in np.arange(-60.0, 241.0, 20.0):
        if t == 0:
            shop.t = 0.0
            shop.watch.stamp(RESIN_OPEN)
        shop.take(t, look=False)
    print("ready", flush=True)
    time.sleep(60)
"""


def test_killed_run_goes_on(tmp_path):
    folder = write_panel(tmp_path / "p")
    root = Path(__file__).resolve().parents[2]
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
    monkeypatch.setattr("analysis.watch._TOUCH_S", 0.01)
    with Shop(folder) as shop:
        monkeypatch.setattr(
            shop.watch.feed, "look", lambda _: (_ for _ in ()).throw(ZeroDivisionError("oops"))
        )
        shop.watch.start()
        shop.take(-90.0, look=False)
        until = time.monotonic() + 5
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


# -- the pieces


def test_typed_keys(tmp_path):
    folder = write_panel(tmp_path / "p")
    with Shop(folder) as shop:
        assert obey(shop.watch, "o\n") == ""
        assert obey(shop.watch, "n pot changed\n") == ""
        assert obey(shop.watch, "g 12,5") == ""
        assert "needs a number" in obey(shop.watch, "g low")
        assert "resin open" in obey(shop.watch, "help me")
        assert obey(shop.watch, "") == ""
    assert [s.text or s.kind for s in read_stamps(folder)] == ["resin open", "pot changed"]
    assert read_readings(folder)[0][1] == 12.5


def test_lock_is_free_after_use(tmp_path):
    with FolderLock(tmp_path), pytest.raises(WetlineError, match="already"):
        FolderLock(tmp_path).__enter__()
    with FolderLock(tmp_path):
        assert (tmp_path / ".watch.lock").exists()


def test_alarms_say_what_and_what_to_do():
    calm = Situation(running=True, elapsed_s=100.0, reached_mm=150.0, gel_s=900.0, working_s=600.0)
    assert alarms_for(calm) == []
    cases = {
        "lost": {"lost": True},
        "frozen": {"frozen": True},
        "moved": {"camera_note": "camera moved by about 3.0 mm"},
        "glare": {"hidden": 0.8},
        "vacuum": {"vacuum_lost": 0.3},
        "stall": {"stalled_at_mm": 120.0},
        "race": {"racing_mm": 60.0},
        "gel": {"end_s": 1000.0},
        "tight": {"end_s": 500.0, "end_high_s": 700.0},
        "silent": {"silence_s": 60.0},
        "disk": {"store_fault": "no room"},
        "space": {"space": "100 MB left"},
        "beside": {"beside": "40 mm behind"},
        "filled": {"filled": True},
    }
    for key, values in cases.items():
        (alarm,) = alarms_for(replace(calm, **values))
        assert alarm.key == key
        assert len(alarm.text) > 8
        assert len(alarm.todo) > 5
    assert alarms_for(replace(calm, ended=True, lost=True)) == []


def test_gel_passed_is_the_first_alarm():
    now = Situation(running=True, elapsed_s=950.0, gel_s=900.0, racing_mm=60.0, reached_mm=100.0)
    assert [a.key for a in alarms_for(now)] == ["gel", "race"]


def test_stall_needs_a_stop_not_a_slowing():
    t = np.arange(10.0, 600.0, 10.0)
    assert not stalled_now(t, np.sqrt(120 * t), 300.0)
    assert stalled_now(t, np.minimum(np.sqrt(120 * t), 200.0), 300.0)
    assert not stalled_now(t, np.minimum(np.sqrt(120 * t), 298.0), 300.0)


def test_speed_needs_three_readings():
    assert speed_mm_min(np.array([0.0, 1.0]), np.array([0.0, 1.0])) is None


def test_band_of_few_runs_follows_from_the_spread_of_permeability():
    # x goes as the root of K, so 8 % in K is 4 % in x; 1.96 sd of one more run after one run.
    t = np.linspace(1.0, 900.0, 200)
    one = reference_from("a", t, np.sqrt(100.0 * t))
    mean, low, high = band_mm([one], np.array([400.0]), 0.08)
    assert mean[0] == pytest.approx(200.0, abs=0.5)
    assert high[0] - mean[0] == pytest.approx(1.96 * 0.04 * 200.0 * np.sqrt(2.0), rel=0.01)
    assert mean[0] - low[0] == pytest.approx(high[0] - mean[0])


def test_band_of_many_runs_is_a_prediction_interval():
    # Student's t for 4 degrees of freedom at 97.5 %: 2.776 (handbook table, from memory).
    t = np.linspace(1.0, 900.0, 200)
    runs = [reference_from(str(k), t, np.sqrt(k * t)) for k in (90.0, 95.0, 100.0, 105.0, 110.0)]
    fronts = np.sqrt(np.array([90.0, 95.0, 100.0, 105.0, 110.0]) * 400.0)
    mean, _, high = band_mm(runs, np.array([400.0]), 0.08)
    half = 2.776 * fronts.std(ddof=1) * np.sqrt(1.2)
    assert high[0] - mean[0] == pytest.approx(half, rel=0.01)


def test_run_beside_a_good_one():
    t = np.linspace(1.0, 900.0, 400)
    good = reference_from("good", t, np.sqrt(100.0 * t))
    beside = compare([good], 400.0, 180.0, 0.08)
    # The good run was at 180 mm at 324 s: 76 s, 1.3 min behind.
    assert beside.ahead_mm == pytest.approx(-20.0, abs=0.3)
    assert beside.ahead_min == pytest.approx(-76 / 60, abs=0.03)
    assert beside.inside
    assert "behind the good run" in beside.text
    assert not compare([good], 400.0, 150.0, 0.08).inside
    assert compare([good], 2000.0, 150.0, 0.08) is None
    with pytest.raises(WetlineError, match="no moving front"):
        reference_from("dry", t, np.zeros_like(t))


def test_gauge_readings_make_a_drawdown(tmp_path):
    for k in range(8):
        add_reading(tmp_path, START_S + 180.0 * k, 5.0 + 0.5 * k)
    readings = read_readings(tmp_path)
    verdict, text = drawdown_text(readings, None)
    # 0.5 mbar each 3 min is 3.3 mbar in 20 min, within 10.
    assert verdict == "go"
    assert "3.3 mbar in 20 min" in text
    assert drawdown_text(readings[:2], None)[0] == ""
    with pytest.raises(WetlineError, match="mbar absolute"):
        add_reading(tmp_path, START_S, -5.0)


def test_vacuum_lost_is_a_share_of_the_pull():
    readings = [(0.0, 10.0), (100.0, 20.0), (200.0, 111.0)]
    # From 10 to 111 mbar of 1013: 101 of 1003.
    assert vacuum_lost(readings, 50.0, 1013.0) == pytest.approx(101 / 1003)
    assert vacuum_lost(readings, None, 1013.0) == 0.0
    assert vacuum_lost(readings[:1], 50.0, 1013.0) == 0.0


def test_clock_text_of_never():
    assert clock_text(float("inf")) == "never"


def test_commands_say_what_is_missing(tmp_path):
    told = CliRunner().invoke(watch, [str(tmp_path)])
    assert "no panel.toml" in str(told.exception)
    told = CliRunner().invoke(page, [str(tmp_path), "--no-open"])
    assert "no panel here" in str(told.exception)
    for command in (watch, page):
        assert "Usage" in CliRunner().invoke(command, ["--help"]).output
