"""A part watched while it fills: pictures to disk, what is wet from them, the board from that."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

from analysis.forecast.panel_text import TextRow
from analysis.infusion.answer.run_job import run_part
from analysis.infusion.answer.run_text import lines
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.answer.clock import clock_of
from analysis.part.plan.part_toml import read_part
from analysis.part.plan.plan import PartFeed as PlannedFeed
from analysis.watch.alarms import ACT, Alarm, Situation, alarms_for
from analysis.watch.board import ENDED, RUNNING
from analysis.watch.gauge import vacuum_lost
from analysis.watch.part.alarms import part_alarms
from analysis.watch.part.board import PartBoard
from analysis.watch.part.feed import PartFeed
from analysis.watch.part.learner import EVERY_S, PartLearner
from analysis.watch.part.numbers import PartNumbers, planned_forecast, read_part_numbers
from analysis.watch.run import CLOSE_S, SPACE_CHECK_S, Watch
from vision.cameras.camera import Camera
from vision.cameras.clock import SteadyClock
from vision.cameras.frame_store import FrameStore, StoredFrame
from vision.errors import WetlineError
from vision.settings.event_log import (
    FEED_OPEN,
    RESIN_OPEN,
    read_stamps,
    stamped_clock_s,
)


class WatchPart(Watch):
    """One watched run of a part. Use as a context manager: it holds the part folder's lock.

    Parameters
    ----------
    folder : Path
        Part's folder, with a part.toml that has [frames].
    camera : Camera
    interval_s : float
        Seconds between pictures.
    clock : SteadyClock, optional
    store : FrameStore, optional
        For trying a full disk.
    learn_every_s : float
        Least seconds from one fit of the plan to the next.

    Attributes
    ----------
    board : PartBoard
        The latest; replaced whole, never changed.
    """

    board: PartBoard
    eyes: PartFeed

    def __init__(
        self,
        folder: Path,
        camera: Camera,
        interval_s: float = 10.0,
        clock: SteadyClock | None = None,
        store: FrameStore | None = None,
        learn_every_s: float = EVERY_S,
    ) -> None:
        super().__init__(folder, camera, interval_s, (), clock, store)
        self._learn_every_s = learn_every_s
        self._before, self._looked_s = PartNumbers(), -float("inf")
        self.learner: PartLearner | None = None
        self.board = PartBoard(name=folder.name)

    def _open(self) -> float | None:
        self._read_part()
        last = self.eyes.resume()
        name = self.job.plan.name or self.folder.name
        self.board = PartBoard(name=name, frames=self.eyes.count, camera=self.camera.name)
        return last

    def _read_part(self) -> None:
        self.job = read_part(self.folder / "part.toml")
        self.ambient_mbar = self.job.vacuum.ambient_pa / 100.0
        self.eyes = PartFeed(self.job)
        self.planned = planned_forecast(self.job)
        self.learner = PartLearner(self.job, self._learn_every_s)

    def close(self) -> None:
        """Stop, and let the folder go."""
        super().close()
        if self.learner is not None:
            self.learner.wait(CLOSE_S)

    def _take(self, frame: StoredFrame) -> None:
        self.eyes.add(frame)

    def _restart(self) -> None:
        self._read_part()
        self.eyes.resume()

    # -- what people do

    def open_feed(self) -> str:
        """Note that the next feed was opened now; return what was noted, in words."""
        left = [feed for feed in self._later() if feed.name not in self._opened()]
        if not left:
            return "no later feed is left to open in part.toml"
        self.stamp(FEED_OPEN, left[0].name)
        return f"noted: {left[0].name} is open"

    def _later(self) -> list[PlannedFeed]:
        later = [feed for feed in self.job.plan.feeds if feed.opens_at_s > 0 or feed.opens_when_wet]
        return sorted(later, key=lambda feed: feed.opens_at_s)

    def _opened(self) -> dict[str, float]:
        """Later feeds noted as open, and when; the first word on each counts."""
        found: dict[str, float] = {}
        for stamp in read_stamps(self.folder):
            if stamp.kind == FEED_OPEN:
                found.setdefault(stamp.text, stamp.clock_s)
        return found

    # -- the board

    def _more(self) -> dict[str, Any]:
        said = "" if self.learner is None else self.learner.said
        return {"opened": tuple(self._opened()), "learning": said}

    def _measured(self) -> dict[str, Any]:
        self._measure_wanted.clear()
        opened, stamps = self._opened(), read_stamps(self.folder)
        seen = self.eyes.measure(stamped_clock_s(stamps, RESIN_OPEN))
        numbers, clock_s = PartNumbers(), self.eyes.last_clock_s
        if seen is not None:
            forecast = (self.learner and self.learner.forecast) or self.planned
            numbers = read_part_numbers(self.job, seen, forecast, opened)
        if seen is not None and seen.usable:
            self._found_start_s = seen.start_clock_s
            if self.learner is not None and numbers.wetted_share and not seen.doubts:
                self.learner.offer(bring_on_plan(seen, self.planned.links), self._opened_s(opened))
        if clock_s is not None and clock_s > self._looked_s:
            # The same picture again is no second look.
            self._looked_s = clock_s
            if self.board.part.left is not None:
                self._before = self.board.part
        return {"part": numbers, "frame_clock_s": clock_s, "todo": self.eyes.todo}

    def _opened_s(self, opened: dict[str, float]) -> list[float | None] | None:
        """Seconds since resin start at which each of the plan's feeds was noted as open."""
        start = self._found_start_s
        if start is None or not opened:
            return None
        return [
            max(0.0, opened[feed.name] - start) if feed.name in opened else None
            for feed in self.job.plan.feeds
        ]

    def _alarms(self, board: PartBoard, readings: list[tuple[float, float]]) -> list[Alarm]:  # type: ignore[override]
        now = self.clock.now()
        if now >= self._space_due:
            self._space, self._space_due = self.store.space_warning(), now + SPACE_CHECK_S
        if board.state == ENDED:
            return []
        situation = self._situation(board, readings, now)
        found = alarms_for(situation)
        if board.state == RUNNING and not situation.clamped:
            found += part_alarms(board.part, self._before)
        return sorted(found, key=lambda alarm: alarm.level != ACT)

    def _situation(
        self, board: PartBoard, readings: list[tuple[float, float]], now: float
    ) -> Situation:
        numbers, left, clock = board.part, board.part.left, clock_of(self.job)
        elapsed = None if board.start_clock_s is None else now - board.start_clock_s
        filled = left is not None and left.filled
        end_s = None if left is None or not math.isfinite(left.end_s) else left.end_s
        high_s = None if left is None else left.high_s
        late = elapsed is not None and high_s is not None and elapsed > high_s and not filled
        return Situation(
            silence_s=self.recorder.silence_s(),
            gap_s=self.recorder.gap_s,
            camera_fault=self.camera.fault,
            store_fault=self.store.fault,
            space=self._space,
            running=board.state == RUNNING,
            lost=self.eyes.lost,
            frozen=self.eyes.frozen,
            hidden=numbers.hidden_share,
            cannot_see=numbers.cannot if elapsed is not None and elapsed > 60 else "",
            doubts="; ".join(numbers.doubts),
            vacuum_lost=vacuum_lost(readings, board.start_clock_s, self.ambient_mbar),
            elapsed_s=elapsed,
            end_s=end_s,
            end_high_s=high_s,
            overdue=late,
            gel_s=clock.gel_s,
            working_s=clock.working_s,
            filled=filled,
            clamped=board.clamp_clock_s is not None,
            what="Part",
        )

    def _finish(self) -> None:
        self._publish(replace(self.board, todo="Working out the final result ..."))
        again = TextRow("", f"The pictures are kept. The result again: wetline run {self.folder}")
        try:
            found = run_part(self.folder)
            rows = (*(TextRow("", line) for line in lines(found)), again)
        except WetlineError as error:
            rows = (TextRow("", f"No final result: {error}"), again)
        self._publish(replace(self.board, state=ENDED, todo="", alarms=(), final=rows))
        self._end_wanted.clear()
