"""Commands stopped dead at any moment, and what is then on disk compared with undisturbed runs."""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from tests.made_up import live_run
from tests.made_up.knocks import digests, halves, photo_panel
from vision.cameras.camera import Shot
from vision.cameras.frame_store import with_time

ROOT = Path(__file__).resolve().parents[2]
VARY = ("report.pdf",)
"""Files that hold the time of writing."""


HEARS_CTRL_C = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
import wetline
sys.exit(wetline.main())
"""
"""Wetline in a process of its own, where Ctrl-C counts though the tests run in the background."""
PATIENCE_S = 600.0


def start(*arguments) -> subprocess.Popen:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.Popen(
        [sys.executable, "-c", HEARS_CTRL_C, *map(str, arguments)],
        cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip


def finish(process: subprocess.Popen) -> None:
    _, told = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0, told


def results_of(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted((folder / "results").rglob("*"))
        if path.is_file() and path.name not in VARY
    }


def whole(folder: Path) -> None:
    """Every result that stands under its own name is whole."""
    for path in (folder / "results").glob("[!.]*"):
        if path.suffix == ".json":
            json.loads(path.read_text(encoding="utf-8"))
        elif path.suffix == ".npz":
            with np.load(path) as stored:
                assert all(stored[name] is not None for name in stored.files)
        elif path.suffix == ".html":
            assert path.read_text(encoding="utf-8").rstrip().endswith("</html>")
        elif path.suffix == ".png":
            assert b"IEND" in path.read_bytes()[-16:]
        elif path.suffix == ".jpg":
            assert path.read_bytes()[-2:] == b"\xff\xd9"


class KilledRuns:
    """`wetline run` killed after so many seconds, then run again."""

    def __init__(self, scratch: Path) -> None:
        self.folder = photo_panel(scratch / "panel", 6)
        self.inputs = digests(self.folder)
        self.takes_s = self._undisturbed()
        self.undisturbed = results_of(self.folder)

    def _undisturbed(self) -> float:
        began = time.monotonic()
        finish(start("run", self.folder, "--quiet"))
        return time.monotonic() - began

    def killed(self, dice: random.Random, times: int) -> int:
        """Kill runs until so many were still at work; how many were started for that."""
        started, at_work = 0, 0
        while at_work < times:
            started += 1
            if self.once(dice):
                at_work += 1
            else:
                self.takes_s /= 2.0  # this computer has become quicker
        return started

    def once(self, dice: random.Random) -> bool:
        """Kill one run; whether it was still at work."""
        if dice.random() < 0.5:
            shutil.rmtree(self.folder / "results", ignore_errors=True)
        process = start("run", self.folder, "--quiet")
        time.sleep(dice.uniform(0.3, 1.0) * self.takes_s)
        at_work = process.poll() is None
        process.kill()
        process.communicate()
        whole(self.folder)
        self.takes_s = min(self.takes_s, self._undisturbed())
        assert results_of(self.folder) == self.undisturbed
        assert digests(self.folder) == self.inputs
        assert not halves(self.folder)
        return at_work


class KilledWatches:
    """`wetline watch` on a folder that another program fills, killed again and again meanwhile."""

    def __init__(self, scratch: Path, count: int = 8) -> None:
        self.scratch = scratch
        self.base = time.time() - 600.0
        self.times_s = np.linspace(-30.0, 500.0, count)
        self.undisturbed = self._all(scratch / "undisturbed", kill=None)

    def _deliver(self, incoming: Path, number: int) -> None:
        """Copy one picture in as a tethering program does: under its own name, its time kept."""
        clock_s = round(self.base + number * 20.0, 3)
        shot = Shot(live_run.photo(self.times_s[number], seed=number), clock_s)
        path = incoming / f"IMG_{number:04d}.jpg"
        part = incoming / f".copying_{number}"
        part.write_bytes(with_time(shot.data, shot.clock_s))
        os.utime(part, (clock_s, clock_s))
        part.rename(path)

    def _all(self, place: Path, kill: random.Random | None) -> tuple[dict, list[str], int]:
        folder = live_run.write_panel(place / "panel")
        incoming = place / "incoming"
        incoming.mkdir()
        command = ("watch", folder, "--camera", incoming, "--interval-s", "0.5", "--quiet")
        kills = 0
        process = start(*command)
        self._until(process, lambda: (folder / "frames").is_dir() and self._begun(folder))
        for number in range(len(self.times_s)):
            if kill is not None and kill.random() < 0.6:
                time.sleep(kill.uniform(0.0, 0.5))
                process.kill()
                process.communicate()
                kills += 1
                if kill.random() < 0.5:
                    self._deliver(incoming, number)
                    process = start(*command)
                    continue
                process = start(*command)
            self._deliver(incoming, number)
        want = len(self.times_s)
        # What a killed one had half written is swept when the next one begins.
        self._until(process, lambda: self._there(folder, want) and not halves(folder / "frames"))
        time.sleep(1.0)  # one that is taken in twice would come now
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=PATIENCE_S)
        finish(start("run", folder, "--quiet"))
        frames = sorted(path.name for path in (folder / "frames").glob("[!.]*.jpg"))
        assert not halves(folder)
        return results_of(folder), frames, kills

    @staticmethod
    def _there(folder: Path, want: int) -> bool:
        return len(list((folder / "frames").glob("[!.]*.jpg"))) >= want

    @staticmethod
    def _begun(folder: Path) -> bool:
        """Whether the watch has noted what was in the folder before it: all else is its run's."""
        return any(path.name.startswith(".") for path in (folder / "frames").iterdir())

    @staticmethod
    def _until(process, there, longest_s: float = PATIENCE_S) -> None:
        began = time.monotonic()
        while not there():
            assert process.poll() is None, process.stderr.read()
            assert time.monotonic() - began < longest_s
            time.sleep(0.05)

    def once(self, dice: random.Random, number: int) -> int:
        """Kill a watch several times over one run; how often."""
        place = self.scratch / f"killed_{number}"
        results, frames, kills = self._all(place, dice)
        assert frames == self.undisturbed[1]
        assert results == self.undisturbed[0]
        shutil.rmtree(place)
        return kills
