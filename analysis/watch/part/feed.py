"""From frames on disk to the live eyes of a part: starts them, resumes them, says what is missing.

Tested in tests/analysis/watch/part/test_run.py.
"""

from __future__ import annotations

from analysis.infusion.seen.part_setup import camera_to_place, part_camera
from analysis.part.part_folder import has_scale
from analysis.part.plan.part_toml import PartJob
from vision.cameras.frame_store import StoredFrame
from vision.drawing.live_picture import load_frame
from vision.drawing.strokes import Image
from vision.errors import WetlineError
from vision.frames.source import FEWEST_FRAMES, open_frames, resin_start_clock_s
from vision.part_records import PartSeen
from vision.parts.live_part import LivePart
from vision.parts.part_settings import PartCamera
from vision.records import Frame
from vision.tracking.live_feed import FROZEN_AFTER, FolderEyes, replayed

TAP_CORNERS = "Tap the part's corners on the picture."


class PartFeed(FolderEyes):
    """Follows the frames of one part's folder.

    Parameters
    ----------
    job : PartJob

    Attributes
    ----------
    photo : (str, ndarray of shape (H, W, 3)) or None
        The last picture and its name.

    Raises
    ------
    WetlineError
        If live pictures would not be where part.toml has them, or as `part_camera`.
    """

    def __init__(self, job: PartJob) -> None:
        super().__init__()
        self._placed = has_scale(job.path)
        self.camera: PartCamera = part_camera(job) if self._placed else camera_to_place(job)
        frames = self.camera.frames
        self.folder = job.path.parent / "frames"
        if frames.kind != "photos" or frames.path.resolve() != self.folder.resolve():
            raise WetlineError(
                f"{job.path}: [frames] source = {frames.path.name}: live pictures go to the folder "
                'frames: write source = "frames"'
            )
        self._live: LivePart | None = None
        self.photo: tuple[str, Image] | None = None

    @property
    def frozen(self) -> bool:
        """Whether the camera gives the very same picture again and again."""
        return self._live is not None and self._live.canvases.repeats >= FROZEN_AFTER

    def resume(self) -> float | None:
        """Take up the frames on disk; give the time of the last one, or None if there are none."""
        paths = [p for p in self.folder.iterdir() if p.is_file() and p.name[0] != "."]
        self.count = len(paths)
        self._prepare()
        if self.last_clock_s is None and paths:
            newest = max(paths, key=lambda p: p.stat().st_mtime)
            self.last_clock_s = newest.stat().st_mtime
            self._keep(newest.name, load_frame(newest))
        return self.last_clock_s

    def add(self, frame: StoredFrame) -> None:
        """Take the next frame on disk; an older one, or one that is no picture, is passed over."""
        self.count += 1
        if self.last_clock_s is not None and frame.clock_s <= self.last_clock_s:
            return
        image = load_frame(frame.path)
        if image is None:
            return
        self.last_clock_s = frame.clock_s
        self._keep(frame.path.name, image)
        if self._live is None:
            self._prepare()
            return
        if image.shape != self._live.tracker.rectifier.reference.image.shape:
            self.todo = "The pictures changed size: turn the camera back as it was."
            return
        self.todo = ""
        self._add(self._live, Frame(self.count - 1, frame.path.name, frame.clock_s, image))

    def _keep(self, name: str, image: Image | None) -> None:
        if image is not None:
            self.photo = name, image

    def _add(self, live: LivePart, frame: Frame) -> None:
        live.add(frame)
        self.lost = live.last_photo is not frame

    def _prepare(self) -> None:
        """Start the eyes once there are frames; else say what is missing."""
        if self.count < FEWEST_FRAMES:
            self.todo = f"{self.count} of the {FEWEST_FRAMES} pictures needed to begin."
            return
        if not self._placed:
            self.todo = TAP_CORNERS
            return
        try:
            self._begin()
        except WetlineError as error:
            self.todo = str(error)

    def _begin(self) -> None:
        setup = self.camera.setup()
        with open_frames(setup) as frames:
            live = LivePart.of(self.camera, frames)
            if setup.frames.resin_start is not None:
                self._start_s = resin_start_clock_s(setup, frames)
            for frame in replayed(frames):
                self._add(live, frame)
                self.last_clock_s = frame.clock_s
                self._keep(frame.name, frame.image)
        self._live, self.todo = live, ""

    def measure(self, stamped: float | None) -> PartSeen | None:
        """Measure the part as it stands; None while there is too little to see."""
        return None if self._live is None else self._live.read(self.given_start_s(stamped))
