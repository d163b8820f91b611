"""The runs that the page watches, one for each panel.

Tested in tests/analysis/page/routes/test_app.py.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from pathlib import Path

from analysis.page.stored.panels import Panels, panel_id, refuse_links_out
from analysis.part.part_folder import is_part
from analysis.watch.board import ENDED
from analysis.watch.part.good_runs import runs_of_plan
from analysis.watch.part.run import WatchPart
from analysis.watch.reference import Reference
from analysis.watch.run import Watch
from vision.cameras.camera import PHONE, Camera
from vision.cameras.clock import SteadyClock
from vision.cameras.open_camera import open_camera
from vision.errors import WetlineError

MOST_IDS = 4000
INTERVALS_S = (1.0, 120.0)


class Watches:
    """Starts, finds and stops watched runs.

    Parameters
    ----------
    panels : Panels
    references : sequence of Reference
        Good runs for all panels.
    good_parts : sequence of Path
        Folders of good runs of parts; each part has those of its own plan.
    """

    def __init__(
        self,
        panels: Panels,
        references: Sequence[Reference] = (),
        good_parts: Sequence[Path] = (),
    ) -> None:
        self.panels, self.references = panels, tuple(references)
        self.good_parts = tuple(good_parts)
        self._running: dict[str, Watch] = {}
        self._ours: set[str] = set()
        self._taken: dict[str, OrderedDict[str, None]] = {}
        self._lock = threading.Lock()

    def adopt(self, name: str, watch: Watch) -> None:
        """Show a run that somebody else has started and will close."""
        self._running[name] = watch

    def get(self, name: str) -> Watch | None:
        """Return a panel's run, or None when it is not watched."""
        return self._running.get(name)

    def need(self, name: str) -> Watch:
        """Return a panel's run.

        Raises
        ------
        WetlineError
            If it is not watched.
        """
        self.panels.find(name)
        watch = self.get(name)
        if watch is None:
            raise WetlineError("this panel is not being watched: start it first")
        return watch

    def start(self, name: str, camera: str, interval_s: float) -> Watch:
        """Watch a panel with the phone or a webcam of this computer.

        Addresses of other cameras are taken from the command line only, so that nobody on the
        network can make this computer call one.

        Raises
        ------
        WetlineError
            If the camera is another, or the panel is being watched elsewhere.
        """
        folder = self.panels.find(name)
        if not (camera == PHONE or (camera.isascii() and camera.isdecimal() and len(camera) < 3)):
            raise WetlineError("camera: must be the phone or a webcam's number")
        low, high = INTERVALS_S
        if not low <= interval_s <= high:
            raise WetlineError(f"interval = {interval_s:g} s: must be {low:g} to {high:g} s")
        refuse_links_out(folder)
        with self._lock:
            watch = self._running.get(name)
            if watch is not None and watch.board.state != ENDED:
                if watch.camera.name == PHONE and camera == PHONE:
                    return watch
                raise WetlineError(f"this run has its camera already: {watch.camera.name}")
            if watch is not None and name in self._ours:
                self._running.pop(name)
                watch.close()
            clock = SteadyClock()
            opened = open_camera(camera, folder, interval_s, clock)
            watch = self._begin(folder, opened, interval_s, clock)
            try:
                watch.__enter__()
            except BaseException:
                opened.close()
                raise
            watch.start()
            self._running[name] = watch
            self._ours.add(name)
            return watch

    def _begin(self, folder: Path, camera: Camera, interval_s: float, clock: SteadyClock) -> Watch:
        if is_part(folder):
            like, left_out = runs_of_plan(self.good_parts, folder)
            return WatchPart(folder, camera, interval_s, clock, like=like, left_out=left_out)
        return Watch(folder, camera, interval_s, self.references, clock)

    def is_new(self, name: str, frame_id: str) -> bool:
        """Return whether a frame's id was not taken in before (phones send again when unsure)."""
        return frame_id not in self._taken.setdefault(name, OrderedDict())

    def taken(self, name: str, frame_id: str) -> None:
        """Remember a frame's id."""
        ids = self._taken.setdefault(name, OrderedDict())
        ids[frame_id] = None
        while len(ids) > MOST_IDS:
            ids.popitem(last=False)

    def close(self) -> None:
        """Stop what this object started; the runs can go on later."""
        with self._lock:
            for name in self._ours:
                watch = self._running.pop(name, None)
                if watch is not None:
                    watch.close()
            self._ours.clear()


def folder_name(folder: Path) -> str:
    """Id under which `Panels` lists a single panel folder."""
    return panel_id(folder.resolve().name) or "panel"
