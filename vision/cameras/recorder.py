"""From camera to disk: keeps the beat, notes gaps, warns before the disk is full."""

from __future__ import annotations

from collections.abc import Callable

from vision.cameras.camera import Camera, PhoneCamera, Shot
from vision.cameras.clock import SteadyClock
from vision.cameras.frame_store import FrameStore, StoredFrame

GAP_INTERVALS = 3.0
LEAST_GAP_S = 10.0


class Recorder:
    """Takes pictures from a camera and puts them on disk.

    Parameters
    ----------
    camera : Camera
    store : FrameStore
    interval_s : float
        Seconds between pictures; a gap is three of them, or 10 s.
    clock : SteadyClock
    on_frame : callable
        Given each frame once it is on disk.
    on_event : callable
        Given what should go into the record: gaps, clock steps.
    """

    def __init__(
        self,
        camera: Camera,
        store: FrameStore,
        interval_s: float,
        clock: SteadyClock,
        on_frame: Callable[[StoredFrame], None],
        on_event: Callable[[str], None],
    ) -> None:
        self.camera, self.store, self.clock = camera, store, clock
        self.gap_s = max(LEAST_GAP_S, GAP_INTERVALS * interval_s)
        self._on_frame, self._on_event = on_frame, on_event
        self.last_s = clock.now()
        self._seen_any = False
        if isinstance(camera, PhoneCamera):
            camera.deliver_to(self.put)

    def once(self, wait_s: float) -> int:
        """Wait for a picture and store it; give the number of frames now on disk that were not."""
        for note in self.clock.take_notes():
            self._on_event(note)
        shot = self.camera.next(wait_s)
        return self._pass_on([] if shot is None else self.store.write(shot))

    def put(self, shot: Shot) -> bool:
        """Store a picture that was handed in, at once; False while the disk is full."""
        frames = self.store.write(shot)
        self._pass_on(frames)
        return bool(frames)

    def _pass_on(self, frames: list[StoredFrame]) -> int:
        for frame in frames:
            gap = frame.clock_s - self.last_s
            if self._seen_any and gap > self.gap_s:
                self._on_event(f"no picture for {gap:.0f} s")
            self._seen_any = True
            self.last_s = max(self.last_s, frame.clock_s)
            self._on_frame(frame)
        return len(frames)

    def go_on_after(self, clock_s: float) -> None:
        """Take up a run whose last frame was at `clock_s`."""
        self.last_s, self._seen_any = clock_s, True

    def silence_s(self) -> float:
        """Seconds since the last picture."""
        return max(0.0, self.clock.now() - self.last_s)
