"""Stopped dead, disk full, folder closed, drive gone: what is on disk is whole, and goes on."""

import errno
import os
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from analysis.watch.run import Watch
from tests.made_up.kills import KilledRuns, KilledWatches, results_of, whole
from tests.made_up.knocks import assert_borne, call, halves, part_folder, photo_panel
from tests.made_up.live_run import photo, write_panel
from vision.cameras import watched_folder
from vision.cameras.clock import SteadyClock
from vision.common import atomic_files

ROOT = Path(__file__).resolve().parents[1]
posix = pytest.mark.skipif(os.name != "posix", reason="signals and limits of POSIX")


@posix
def test_a_run_killed_at_any_moment_ends_as_undisturbed(tmp_path):
    assert KilledRuns(tmp_path).killed(random.Random(5), times=2) >= 2


@posix
def test_a_watch_killed_again_and_again_loses_no_picture(tmp_path):
    watches = KilledWatches(tmp_path, count=5)
    assert watches.once(random.Random(3), 0) >= 1


LIMITED = """
import resource, sys
from wetline import main
most = int(sys.argv.pop(1))
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
main()
"""


@posix
@pytest.mark.parametrize("most", [0, 900, 60_000])
def test_a_disk_that_fills_up_in_mid_write(tmp_path, most):
    """No file may grow past a limit, as on a full disk; the results before stay whole."""
    folder = photo_panel(tmp_path / "panel", 5)
    assert call("run", folder, "--quiet").exit_code == 0
    (folder / "results" / "notes.txt").write_text("the shop's own", encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    environment.pop("WETLINE_TRACEBACK", None)
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(most), "run", str(folder), "--quiet", "--pdf"],
        env=environment, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1, done.stderr
    assert "cannot be written" in done.stderr
    assert "free some disk space" in done.stderr
    whole(folder)
    assert not halves(folder)
    assert call("run", folder, "--quiet").exit_code == 0


@pytest.mark.parametrize(
    ("code", "after"),
    [(errno.ENOSPC, 0), (errno.EROFS, 1), (errno.EACCES, 2), (errno.EIO, 3), (errno.ENOSPC, 5)],
)
def test_a_drive_that_fails_at_any_write(tmp_path, monkeypatch, code, after):
    folder = photo_panel(tmp_path / "panel", 5)
    left = [after]
    make = atomic_files.tempfile.mkstemp

    def failing(*arguments, **more):
        if left[0] == 0:
            raise OSError(code, os.strerror(code))
        left[0] -= 1
        return make(*arguments, **more)

    monkeypatch.setattr(atomic_files.tempfile, "mkstemp", failing)
    assert_borne(call("run", folder, "--quiet"), f"cannot be written ({os.strerror(code)})")
    whole(folder)
    assert not halves(folder)


@posix
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_only_be_read(tmp_path):
    folder = photo_panel(tmp_path / "panel", 5)
    folder.chmod(0o555)
    try:
        assert_borne(call("run", folder), "cannot be written")
        assert_borne(call("new", folder / "next", "--no-ask"), "your rights")
    finally:
        folder.chmod(0o755)


def test_a_file_in_place_of_the_results_folder(tmp_path):
    folder = photo_panel(tmp_path / "panel", 5)
    (folder / "results").write_text("in the way", encoding="utf-8")
    assert_borne(call("run", folder), "results")
    assert (folder / "results").read_text("utf-8") == "in the way"


def test_results_of_two_runs_never_stand_side_by_side(tmp_path, monkeypatch):
    """Stopped between two files, the summary is missing rather than of the run before."""
    folder = photo_panel(tmp_path / "panel", 6)
    assert call("run", folder, "--quiet").exit_code == 0
    sorted((folder / "frames").iterdir())[-1].unlink()
    replace = atomic_files.os.replace

    def stopped(source, target):
        if Path(target).name == "front.csv":
            raise KeyboardInterrupt
        return replace(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(atomic_files.os, "replace", stopped)
        assert call("track", folder, "--quiet").exit_code == 1
    assert_borne(call("fit", folder), "not there yet: run `wetline run")
    assert not halves(folder)


@posix
def test_leftovers_of_dead_processes_are_swept(tmp_path):
    folder = photo_panel(tmp_path / "panel", 5)
    assert call("run", folder, "--quiet").exit_code == 0
    before = results_of(folder)
    ours = f"{atomic_files.PART}{atomic_files.computer_mark()}-"
    for place in (folder / "results", folder, folder / "frames"):
        (place / f"{ours}4194999-x.json").write_bytes(b"{")  # past the greatest process number
    (folder / "results" / f"{ours}{os.getppid()}-y.json").write_bytes(b"{")
    assert call("run", folder, "--quiet").exit_code == 0
    assert [name.partition("-")[2].split("-")[1] for name in halves(folder / "results")] == [
        str(os.getppid())
    ]
    left = halves(folder)
    assert len(left) == 2, left  # that, and the one among the frames, which `run` only reads
    (folder / "results" / f"{ours}{os.getppid()}-y.json").unlink()
    with Watch(folder, watched_folder.FolderCamera(tmp_path), clock=SteadyClock()):
        assert not halves(folder)
    assert results_of(folder) == before


def test_leftovers_of_another_computer_go_after_a_day(tmp_path):
    fresh, old = tmp_path / ".part-another-7-a.csv", tmp_path / ".part-another-8-b.csv"
    for path in (fresh, old):
        path.write_bytes(b"x")
    yesterday = time.time() - 1.5 * atomic_files.OLD_S
    os.utime(old, (yesterday, yesterday))
    atomic_files.sweep_leftovers(tmp_path, tmp_path / "none")
    assert halves(tmp_path) == [fresh.name]


def test_a_part_is_solved_again_where_the_kept_filling_was_edited(tmp_path):
    folder = part_folder(tmp_path / "part")
    arguments = ("part", folder, "--no-search", "--no-animation")
    first = call(*arguments).output
    assert "same part as before" in call(*arguments).output
    path = folder / "results" / "filling.npz"
    data = bytearray(path.read_bytes())
    for place in (len(data) // 3, len(data) // 2):
        data[place] ^= 1
    path.write_bytes(data)
    again = call(*arguments).output
    assert "same part as before" not in again
    assert again.splitlines()[-8:] == first.splitlines()[-8:]


def test_a_share_that_stalls_stops_neither_board_nor_end(tmp_path, monkeypatch):
    folder, share = write_panel(tmp_path / "panel"), tmp_path / "share"
    share.mkdir()
    gone, came_back = threading.Event(), []
    pictures = watched_folder._pictures

    def stalling(path):
        gone.wait(300.0)  # as a share does that was taken away: the call does not come back
        came_back.append(path)
        return pictures(path)

    now = [1_933_000_000.0]
    camera = watched_folder.FolderCamera(share)
    clock = SteadyClock(lambda: now[0], lambda: now[0])
    monkeypatch.setattr("analysis.watch.run._TOUCH_S", 0.02)
    monkeypatch.setattr("analysis.watch.run.CLOSE_S", 0.2)
    with Watch(folder, camera, 10.0, clock=clock) as watch:
        (share / "a.jpg").write_bytes(photo(-30.0))
        for _ in range(2):
            watch.step(0.0)
        assert watch.board.frames == 1
        monkeypatch.setattr(watched_folder, "_pictures", stalling)
        watch.start()
        now[0] += 300.0
        until = time.monotonic() + 120.0
        while "silent" not in [alarm.key for alarm in watch.board.alarms]:
            assert time.monotonic() < until, watch.board.alarms
            time.sleep(0.01)
        watch.stamp("note", "drive is gone")  # and people go on working at the board
    assert came_back == []  # the end did not wait for it
    gone.set()
