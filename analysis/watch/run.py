"""A run watched while it goes on: pictures to disk, the front from them, the board from that."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Self

from analysis.forecast.panel_text import TextRow
from analysis.panel.gauge_readings import add_reading, read_readings
from analysis.panel.panel_toml import read_settled_panel
from analysis.panel.records import Panel
from analysis.runs.panels.good_run import Reference
from analysis.watch.alarms import Alarm, Situation, alarms_for
from analysis.watch.board import (
    DRY,
    ENDED,
    NOT_YET,
    RUNNING,
    Board,
    Numbers,
    overdue,
    panel_gel,
    read_numbers,
)
from analysis.watch.final import finish_run
from analysis.watch.gauge import drawdown_text, vacuum_lost
from analysis.watch.lock import FolderLock
from vision.cameras.camera import Camera, PhoneCamera, Shot
from vision.cameras.clock import SteadyClock
from vision.cameras.frame_store import FrameStore, StoredFrame
from vision.cameras.recorder import Recorder
from vision.common.atomic_files import add_file
from vision.common.closing import Closing
from vision.drawing.live_picture import PictureParts, draw_live, jpeg_bytes
from vision.errors import WetlineError
from vision.front.stall import find_stall
from vision.settings.event_log import (
    CLAMP,
    EVENT,
    PHOTO,
    RESIN_OPEN,
    Stamp,
    add_stamp,
    iso_local,
    read_stamps,
    stamped_clock_s,
)
from vision.tracking.live_feed import FolderEyes, LiveFeed

AFTER_CLAMP = 3
"""Frames after the clamp; then the run ends by itself."""

SPACE_CHECK_S = 15.0
CLOSE_S = 30.0
"""How long a measurement, or a drive that stalls, is waited for when the run is let go."""
_TOUCH_S = 1.0


class Watch(Closing):
    """One watched run. Use as a context manager: it holds the panel folder's lock.

    Parameters
    ----------
    folder : Path
        Panel folder with a panel.toml.
    camera : Camera
    interval_s : float
        Seconds between pictures.
    references : sequence of Reference
        Good runs.
    clock : SteadyClock, optional
    store : FrameStore, optional
        For trying a full disk.

    Attributes
    ----------
    board : Board
        The latest; replaced whole, never changed.
    """

    eyes: FolderEyes

    def __init__(
        self,
        folder: Path,
        camera: Camera,
        interval_s: float = 10.0,
        references: Sequence[Reference] = (),
        clock: SteadyClock | None = None,
        store: FrameStore | None = None,
    ) -> None:
        self.folder, self.camera, self.interval_s = folder, camera, interval_s
        self.references = tuple(references)
        self.clock = clock or SteadyClock()
        self._lock = FolderLock(folder)
        self._store_given = store
        self._changed = threading.Condition(threading.RLock())
        self._stop, self._end_wanted = threading.Event(), threading.Event()
        self._waiting: queue.SimpleQueue[tuple[StoredFrame, float]] = queue.SimpleQueue()
        self._threads: list[threading.Thread] = []
        self._picture: PictureParts | None = None
        self._space, self._space_due = "", -float("inf")
        self._frames_at_clamp: int | None = None
        self._found_start_s: float | None = None
        self._measure_wanted, self._restart_wanted = threading.Event(), threading.Event()
        self.board = Board(name=folder.name)

    def __enter__(self) -> Self:
        """Take the folder, and go on with the run that its frames hold."""
        self._lock.__enter__()
        try:
            self.store = self._store_given or FrameStore(self.folder / "frames")
            self.recorder = Recorder(
                self.camera, self.store, self.interval_s, self.clock, self._on_frame, self._event
            )
            last = self._open()
            if last is not None:
                self.clock.not_before(last)
                self.recorder.go_on_after(last)
        except BaseException:
            self._lock.close()
            raise
        self._refresh(None, measure=True)
        return self

    def _open(self) -> float | None:
        self._read_panel()
        self.eyes = self.feed = LiveFeed(self.folder)
        last = self.feed.resume()
        name, camera = self.panel.name or self.folder.name, self.camera.name
        self.board = Board(name, frames=self.feed.count, camera=camera, gel=panel_gel(self.panel))
        return last

    def _read_panel(self) -> None:
        self.panel: Panel = read_settled_panel(self.folder)
        self.ambient_mbar = self.panel.vacuum.ambient_pa / 100.0

    def close(self) -> None:
        """Stop, and let the folder go."""
        self.stop()
        self.camera.close()
        for thread in self._threads:
            thread.join(timeout=CLOSE_S)
        self._lock.close()

    # -- the work, a step at a time or in two threads

    def start(self) -> None:
        """Work in the background: one thread from camera to disk, one from disk to board."""
        for work in (self._take_in, self._follow):
            thread = threading.Thread(target=work, name=work.__name__, daemon=True)
            thread.start()
            self._threads.append(thread)

    def stop(self) -> None:
        """Ask the threads to stop; frames stay, and the run can go on later."""
        self._stop.set()
        with self._changed:
            self._changed.notify_all()

    def end(self) -> None:
        """End the run: the final result follows."""
        self._end_wanted.set()

    def step(self, wait_s: float = 0.0) -> None:
        """Take in what the camera gives, then follow it; for tests and for one thread."""
        self.recorder.once(wait_s)
        self.follow_once(0.0)

    def _take_in(self) -> None:
        while not self._stop.is_set():
            try:
                self.recorder.once(0.5)
            except (WetlineError, OSError) as error:
                self.camera.fault = str(error)
                self._stop.wait(1.0)

    def _follow(self) -> None:
        while not self._stop.is_set():
            try:
                self.follow_once(_TOUCH_S)
            except Exception as error:  # the run must go on being recorded whatever happens here
                text = str(error) if isinstance(error, WetlineError) else repr(error)
                self._publish(replace(self.board, todo=f"Pictures are saved, but: {text}"))
                self._stop.wait(_TOUCH_S)

    def follow_once(self, wait_s: float) -> None:
        """Add the frames that wait, measure once, and renew the board."""
        since = None
        for frame, stored in self._drain(wait_s):
            self._take(frame)
            since = stored
        if self.board.state == ENDED:
            return
        if self._end_wanted.is_set():
            self._finish()
            return
        if self._restart_wanted.is_set():
            self._restart_wanted.clear()
            self._restart()
            self._measure_wanted.set()
        self._refresh(since, measure=since is not None or self._measure_wanted.is_set())
        clamp = self.board.clamp_clock_s
        if clamp is not None and self.board.state == RUNNING:
            if self._frames_at_clamp is None:
                self._frames_at_clamp = self.board.frames
            if self.board.frames >= self._frames_at_clamp + AFTER_CLAMP:
                self._end_wanted.set()

    def _take(self, frame: StoredFrame) -> None:
        self.feed.add(frame)

    def _restart(self) -> None:
        self._read_panel()
        self.feed.restart()

    def _drain(self, wait_s: float) -> list[tuple[StoredFrame, float]]:
        got = []
        try:
            got.append(self._waiting.get(timeout=wait_s) if wait_s else self._waiting.get_nowait())
            while True:
                got.append(self._waiting.get_nowait())
        except queue.Empty:
            return got

    def _on_frame(self, frame: StoredFrame) -> None:
        self._waiting.put((frame, time.monotonic()))

    def _event(self, text: str) -> None:
        add_stamp(self.folder, Stamp(self.clock.now(), EVENT, text))

    # -- what people do

    def receive(self, data: bytes, age_s: float, orientation: int = 1) -> bool:
        """Take a picture from the phone that was taken `age_s` ago; False: send it again."""
        if not isinstance(self.camera, PhoneCamera):
            raise WetlineError(f"{self.camera.name} is the camera of this run, not the phone")
        if self.board.state == ENDED:
            raise WetlineError("this run has ended: start the panel's next run in a new folder")
        return self.camera.receive(Shot(data, self.clock.now() - max(0.0, age_s), orientation))

    def stamp(self, kind: str, text: str = "", age_s: float = 0.0) -> None:
        """Stamp the record with something done now (or `age_s` ago)."""
        add_stamp(self.folder, Stamp(self.clock.now() - max(0.0, age_s), kind, text))
        self._measure_wanted.set()
        self._refresh(None)

    def add_photo(self, data: bytes) -> str:
        """Put a photo beside the record and return its name."""
        now = self.clock.now()
        stem = iso_local(now)[:19].replace(":", "-")
        name = add_file(self.folder / "notes", stem, ".jpg", data).name
        add_stamp(self.folder, Stamp(now, PHOTO, "photo", name))
        return name

    def gauge(self, bag_mbar: float) -> None:
        """Note a gauge reading."""
        add_reading(self.folder, self.clock.now(), bag_mbar)
        self._refresh(None)

    def scale_changed(self) -> None:
        """Begin again from the frames on disk: panel.toml has a new scale."""
        self._restart_wanted.set()

    # -- the board

    def elapsed_s(self) -> float | None:
        """Seconds since resin start; stands still once the run has ended."""
        board = self.board
        if board.start_clock_s is None:
            return None
        now = self.clock.now()
        if board.state == ENDED and board.frame_clock_s is not None:
            now = board.clamp_clock_s or board.frame_clock_s
        return now - board.start_clock_s

    def wait_for(self, seen: int, wait_s: float) -> Board:
        """Return the board once it is newer than version `seen`, or after `wait_s`."""
        with self._changed:
            self._changed.wait_for(
                lambda: self.board.version != seen or self._stop.is_set(), timeout=wait_s
            )
            return self.board

    def picture_jpeg(self, width: int = 1280) -> bytes | None:
        """Draw the board's picture now; None before the first frame."""
        parts = self._picture
        return None if parts is None else jpeg_bytes(draw_live(parts, width))

    def _publish(self, board: Board) -> None:
        with self._changed:
            if replace(board, version=self.board.version) != self.board:
                self.board = replace(board, version=self.board.version + 1)
                self._changed.notify_all()

    def _refresh(self, stored_s: float | None, measure: bool = False) -> None:
        """Renew the board; only the thread that follows the frames may ask to `measure`."""
        found = self._measured() if measure else {}
        with self._changed:
            stamps, readings = read_stamps(self.folder), read_readings(self.folder)
            stamped = stamped_clock_s(stamps, RESIN_OPEN)
            board = replace(
                self.board,
                frames=self.eyes.count,
                clamp_clock_s=stamped_clock_s(stamps, CLAMP),
                start_stamped=stamped is not None,
                **self._more(),
                **found,
            )
            if board.state != ENDED:
                start = self.eyes.given_start_s(stamped)
                if start is None and board.has_front:
                    start = self._found_start_s
                board = replace(board, start_clock_s=start, state=self._state(start))
            board = replace(board, drawdown=drawdown_text(readings, board.start_clock_s))
            board = replace(board, alarms=tuple(self._alarms(board, readings)))
            if stored_s is not None:
                board = replace(board, delay_s=round(time.monotonic() - stored_s, 3))
            self._publish(board)

    def _more(self) -> dict[str, Any]:
        return {}

    def _state(self, start: float | None) -> str:
        if self.eyes.todo:
            return NOT_YET
        return DRY if start is None else RUNNING

    def _measured(self) -> dict[str, Any]:
        self._measure_wanted.clear()
        stamped = stamped_clock_s(read_stamps(self.folder), RESIN_OPEN)
        live = self.feed.measure(stamped)
        numbers = Numbers()
        if live is not None and (live.agreed or live.tracked.front.reason):
            numbers = read_numbers(live, self.panel, self.references, self.feed.feed_point_mm)
            self._found_start_s = live.start_clock_s
        elif self.board.numbers.front is not None:
            # One that says something else is a hand or a flash until the next one agrees.
            front = replace(self.board.numbers.front, settled=False)
            numbers = replace(self.board.numbers, front=front)
        shown = 0.0 if numbers.front is None or live is None else float(numbers.time_s[-1])
        if numbers.front is not None and numbers.front.settled and live is not None:
            shown = float(live.tracked.curve.time_s[-1])
        self._picture = self.feed.picture(shown)
        return {"numbers": numbers, "frame_clock_s": self.feed.last_clock_s, "todo": self.feed.todo}

    def _alarms(self, board: Board, readings: list[tuple[float, float]]) -> list[Alarm]:
        now = self.clock.now()
        if now >= self._space_due:
            self._space, self._space_due = self.store.space_warning(), now + SPACE_CHECK_S
        numbers, front, live = board.numbers, board.numbers.front, self.feed.latest
        elapsed = None if board.start_clock_s is None else now - board.start_clock_s
        stalled = front is not None and find_stall(
            numbers.time_s, numbers.front_mm, front.length_mm, front.sd_mm
        )
        beside = numbers.beside
        situation = Situation(
            silence_s=self.recorder.silence_s(),
            gap_s=self.recorder.gap_s,
            camera_fault=self.camera.fault,
            store_fault=self.store.fault,
            space=self._space,
            running=board.state == RUNNING,
            ended=board.state == ENDED,
            lost=self.feed.lost,
            frozen=self.feed.frozen,
            camera_note=self.feed.moved_note,
            hidden=0.0 if live is None or front is None else live.hidden_share,
            cannot_see=numbers.cannot if elapsed is not None and elapsed > 60 else "",
            doubts="; ".join(numbers.doubts),
            stalled_at_mm=front.mean_mm if front is not None and stalled else None,
            racing_mm=(live and front and live.tracked.front.race_tracking_mm) or 0.0,
            reached_mm=0.0 if front is None else front.mean_mm,
            vacuum_lost=vacuum_lost(readings, board.start_clock_s, self.ambient_mbar),
            elapsed_s=elapsed,
            end_s=None if numbers.end is None else numbers.end.end_s,
            end_high_s=None if numbers.end is None else numbers.end.high_s,
            gel_s=None if board.gel is None else board.gel.gel_s,
            working_s=None if board.gel is None else board.gel.working_s,
            overdue=overdue(board, elapsed),
            slowing=numbers.end is not None and numbers.end.slowing,
            filled=front is not None and front.filled,
            clamped=board.clamp_clock_s is not None,
            beside=beside.text if beside is not None and not beside.inside else "",
        )
        return alarms_for(situation)

    def _finish(self) -> None:
        self._publish(replace(self.board, todo="Working out the final result ..."))
        try:
            rows = finish_run(self.folder, self.feed.firm)
        except WetlineError as error:
            rows = (TextRow("", f"No final result: {error}"),)
        self._publish(replace(self.board, state=ENDED, todo="", alarms=(), final=rows))
        self._end_wanted.clear()
