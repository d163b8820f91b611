"""A part watched while it fills: pictures to disk, what is wet from them, the board from that."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from analysis.forecast.panel_text import TextRow
from analysis.infusion.ahead.feeds_at_work import feeds_at_work, fill_without
from analysis.infusion.ahead.next_feed import AT_WORK, NOT_YET, OPEN, first_to_tell
from analysis.infusion.outlook.numbers import PartNumbers, planned_forecast, read_part_numbers
from analysis.infusion.seen.by_hand import ByHand, about_same, as_opened, later_feeds, read_by_hand
from analysis.infusion.seen.early_feeds import find_early, with_early_feeds
from analysis.infusion.seen.on_plan import SeenOnPlan, bring_on_plan
from analysis.panel.gauge_readings import read_readings
from analysis.part.answer.clock import clock_of
from analysis.part.grid.canvas import lies_on
from analysis.part.plan.part_toml import read_part
from analysis.part.plan.plan import PartFeed as PlannedFeed
from analysis.runs.part_repeat.part_runs import PartRun
from analysis.watch.alarms import ACT, Alarm, Situation, alarms_for
from analysis.watch.board import ENDED, RUNNING
from analysis.watch.gauge import vacuum_lost
from analysis.watch.part.alarms import (
    KnownArea,
    alarm_texts,
    no_resin_alarms,
    part_alarms,
    unnoted_feeds,
    with_areas,
)
from analysis.watch.part.board import PartBoard
from analysis.watch.part.feed import PartFeed
from analysis.watch.part.final import Told, finish_part
from analysis.watch.part.good_runs import BesideGood, beside_good, good_alarms, read_good_runs
from analysis.watch.part.learner import EVERY_S, PartLearner
from analysis.watch.part.picture import PartPicture, draw_part
from analysis.watch.run import CLOSE_S, SPACE_CHECK_S, Watch
from vision.cameras.camera import Camera
from vision.cameras.clock import SteadyClock
from vision.cameras.frame_store import FrameStore, StoredFrame
from vision.drawing.live_picture import jpeg_bytes
from vision.errors import WetlineError
from vision.part_records import PartSeen
from vision.settings.event_log import (
    FEED_BACK,
    FEED_OPEN,
    RESIN_OPEN,
    VENT_BACK,
    VENT_SHUT,
    read_stamps,
    stamped_clock_s,
)

KINDS = {
    FEED_OPEN: "is open",
    FEED_BACK: "is not open, taken back",
    VENT_SHUT: "is clamped",
    VENT_BACK: "is not clamped, taken back",
}
"""What is noted of a feed or vent by hand, in words."""
NARROW_PX = 640
LOG_AGAIN_S = 600.0
"""An alarm that was away for so long is logged anew."""


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
    like : sequence of Path or PartRun
        Good runs of the part: their folders, or the runs where they have been read.
    left_out : sequence of str
        Good runs that are not of this part, a line each.

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
        like: Sequence[Path | PartRun] = (),
        left_out: Sequence[str] = (),
    ) -> None:
        super().__init__(folder, camera, interval_s, (), clock, store)
        self._learn_every_s, self._like = learn_every_s, tuple(like)
        self.left_out = tuple(left_out)
        self._beside_before: BesideGood | None = None
        self._before, self._looked_s = PartNumbers(), -float("inf")
        self._areas: tuple[KnownArea, ...] = ()
        self._opened_s: list[float | None] | None = None
        self._at_work: frozenset[str] = frozenset()
        self._shown: PartPicture | None = None
        self._told: list[Told] = []
        self._told_at: set[str] = set()
        self._logged: dict[str, float] = {}
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
        self.planned, self._opened_s = planned_forecast(self.job), None
        self._shut_s, self.good = fill_without(self.job), read_good_runs(self._like, self.job.plan)
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

    def by_hand(self, kind: str, name: str, age_s: float = 0.0) -> str:
        """Note that a later feed was opened, a vent clamped, or that one of these is taken back.

        Parameters
        ----------
        kind : str
            One of `KINDS`.
        name : str
            Of the feed or vent in part.toml.
        age_s : float
            How long ago.

        Returns
        -------
        noted : str
            In words.

        Raises
        ------
        WetlineError
            If part.toml has no such later feed or vent.
        """
        feeds = kind in (FEED_OPEN, FEED_BACK)
        there = [one.name for one in (later_feeds(self.job.plan) if feeds else self.job.plan.vents)]
        if kind not in KINDS or name not in there:
            what = "later feed" if feeds else "vent"
            raise WetlineError(f"{name}: is no {what} of part.toml: it has {_listed(there)}")
        self.stamp(kind, name, age_s)
        return f"noted: {name} {KINDS[kind]}"

    def open_feed(self, name: str = "") -> str:
        """Note that a later feed, the next one unless named, was opened now; return it in words."""
        opened = dict(self._by_hand().opened)
        told = first_to_tell(self.board.part.feeds, self.board.part.last_s)
        names = [feed.name for feed in told] + [feed.name for feed in later_feeds(self.job.plan)]
        left = [one for one in names if one not in opened]
        if not name and not left:
            return "no later feed is left to open in part.toml"
        return self.by_hand(FEED_OPEN, name or left[0])

    def clamp_vent(self, name: str) -> str:
        """Note that a vent was clamped now: by name, or by its number in part.toml."""
        vents = [vent.name for vent in self.job.plan.vents]
        if not name and len(vents) != 1:
            return f"v needs a vent, such as v 1: part.toml has {_listed(vents)}"
        if name not in vents and name.isdecimal() and 0 < int(name) <= len(vents):
            name = vents[int(name) - 1]
        return self.by_hand(VENT_SHUT, name or vents[0])

    def take_back(self, _: str = "") -> str:
        """Take back the last feed or vent that was noted; return that in words."""
        last = self._by_hand().last
        if last is None:
            return "nothing is left to take back: no feed and no vent is noted"
        return self.by_hand(FEED_BACK if last[0] == FEED_OPEN else VENT_BACK, last[1])

    def _by_hand(self) -> ByHand:
        return read_by_hand(self.folder, self.job.plan)

    # -- the board

    def picture_jpeg(self, width: int = 1280) -> bytes | None:
        """Draw the board's picture now, with larger words where it is narrow.

        None before the first frame.
        """
        parts = self._shown
        return None if parts is None else jpeg_bytes(draw_part(parts, width, width <= NARROW_PX))

    def _more(self) -> dict[str, Any]:
        said = "" if self.learner is None else self.learner.said
        hand = self._by_hand()
        readings = read_readings(self.folder)
        return {
            "opened": tuple(name for name, _ in hand.opened),
            "shut": hand.shut,
            "learning": said,
            "learnt": None if self.learner is None else self.learner.learnt,
            "gauge": readings[-1] if readings else None,
        }

    def _measured(self) -> dict[str, Any]:
        self._measure_wanted.clear()
        stamps, hand = read_stamps(self.folder), self._by_hand()
        seen = self.eyes.measure(stamped_clock_s(stamps, RESIN_OPEN))
        numbers, clock_s = PartNumbers(), self.eyes.last_clock_s
        if seen is not None and seen.usable:
            self._found_start_s = seen.start_clock_s
        opened_s = hand.opened_s(self.job.plan, self._found_start_s)
        self._plan_as_opened(opened_s)
        if seen is not None:
            forecast = (self.learner and self.learner.forecast) or self.planned
            vents = hand.open_vents(self.job.plan)
            on = bring_on_plan(seen, self.planned.links)
            early = find_early(seen, self.job.plan, on, opened_s)
            seen = with_early_feeds(seen, early)
            opened = dict(hand.opened)
            self._look_at_feeds(seen, on, opened)
            learnt = self.learner.at_work - set(opened) if self.learner else frozenset()
            at_work = self._at_work | learnt | {one.name for one in early}
            numbers = read_part_numbers(
                self.job, seen, forecast, opened, vents, self.planned.arrival_s, at_work
            )
            sure = len(seen.doubts) == len(early)
            if numbers.wetted_share and sure and self.learner:
                self.learner.offer(on, opened_s, [one.name for one in early])
        if clock_s is not None and clock_s > self._looked_s:
            # The same picture again is no second look.
            self._looked_s = clock_s
            if self.board.part.left is not None:
                self._before, self._beside_before = self.board.part, self.board.beside
        self._areas = with_areas(self._areas, numbers.cut_offs)
        self._keep(seen, numbers)
        beside = None
        if seen is not None and self.good is not None:
            beside = beside_good(self.good, seen, numbers)
        return {"part": numbers, "beside": beside, "frame_clock_s": clock_s, "todo": self.eyes.todo}

    def _plan_as_opened(self, opened_s: list[float | None] | None) -> None:
        """Fill the plan again where a feed was opened, or that was taken back."""
        if not about_same(opened_s, self._opened_s):
            job, opened = as_opened(self.job, opened_s), dict(self._by_hand().opened)
            self.planned, self._shut_s = planned_forecast(job), fill_without(job, opened)
            self._opened_s = opened_s
            if self.learner is not None:
                self.learner.forget()

    def _look_at_feeds(self, seen: PartSeen, on: SeenOnPlan, opened: Collection[str]) -> None:
        """Keep which feeds resin seems to come from, until they are noted as open."""
        self._at_work -= set(opened)
        if seen.usable and self._shut_s is not None:
            found = feeds_at_work(self.job.plan, on, self._shut_s, seen.frame_s[seen.used], opened)
            self._at_work |= {one.name for one in found}

    def _keep(self, seen: PartSeen | None, numbers: PartNumbers) -> None:
        """Keep what the picture is drawn from, and what the board said of this photo."""
        if self.eyes.photo is None:
            return
        name, image = self.eyes.photo
        cuts = () if seen is None else numbers.cut_offs
        self._shown = PartPicture(name, image, self.job.plan, self.planned, seen, cuts)
        left, share = numbers.left, numbers.wetted_share
        if left is not None and share is not None and name not in self._told_at:
            self._told_at.add(name)
            self._told.append(Told(name, share, left.end_s, left.low_s, left.high_s))

    def _alarms(self, board: PartBoard, readings: list[tuple[float, float]]) -> list[Alarm]:  # type: ignore[override]
        now = self.clock.now()
        if now >= self._space_due:
            self._space, self._space_due = self.store.space_warning(), now + SPACE_CHECK_S
        if board.state == ENDED:
            return []
        situation = self._situation(board, readings, now)
        found = alarms_for(situation)
        if board.state == RUNNING and not situation.clamped:
            found += part_alarms(board.part, self._before, self._areas)
            found += good_alarms(board.beside, self._beside_before)
            found += no_resin_alarms(() if board.learnt is None else board.learnt.openings)
            if situation.elapsed_s is not None and not situation.filled:
                later = later_feeds(self.job.plan)
                found += unnoted_feeds(self._due_s(board, later), board.opened, situation.elapsed_s)
        self._log(found, now)
        return sorted(found, key=lambda alarm: alarm.level != ACT)

    def _due_s(self, board: PartBoard, later: Sequence[PlannedFeed]) -> dict[str, float]:
        """Seconds since resin start at which the plan opens each later feed.

        One that the front is past has an alarm of its own, and one that it is not past and that
        opens once it is, is not due: both are left out.
        """
        links, arrival = self.planned.links, self.planned.arrival_s
        states = {feed.name: feed.state for feed in board.part.feeds}
        due = {}
        for feed in later:
            told = states.get(feed.name)
            if told in (OPEN, AT_WORK) or (told == NOT_YET and feed.opens_when_wet):
                continue
            cells = lies_on(links, feed.place)[: links.cells]
            wet_s = float(arrival[cells].max()) if cells.any() else math.inf
            due[feed.name] = wet_s if feed.opens_when_wet else feed.opens_at_s
        return due

    def _log(self, found: list[Alarm], now: float) -> None:
        """Put each alarm into the run's log as it comes up; a full disk is told elsewhere."""
        fresh = [a for a in found if now - self._logged.get(a.key, -math.inf) > LOG_AGAIN_S]
        self._logged |= {alarm.key: now for alarm in found}
        with suppress(OSError, WetlineError):
            for text in alarm_texts(fresh):
                self._event(f"alarm: {text.strip(' !')}")

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
            doubts="; ".join(numbers.doubts) if self._before.doubts else "",
            vacuum_lost=vacuum_lost(readings, board.start_clock_s, self.ambient_mbar),
            elapsed_s=elapsed,
            end_s=end_s,
            end_high_s=high_s,
            overdue=late,
            gel_s=clock.gel_s,
            working_s=clock.working_s,
            filled=filled,
            clamped=board.clamp_clock_s is not None,
            beside=self._unlike(board.beside),
            what="Part",
            span="range",
        )

    def _unlike(self, beside: BesideGood | None) -> str:
        """Return how the run stands to good ones where two looks have it outside their band."""
        before = self._beside_before
        out = beside is not None and before is not None and not (beside.inside or before.inside)
        return beside.text if out and beside is not None else ""

    def _finish(self) -> None:
        self._publish(replace(self.board, todo="Working out the final result ..."))
        again = TextRow("", f"The pictures are kept. The result again: wetline run {self.folder}")
        try:
            rows = (*finish_part(self.folder, self._told), again)
        except WetlineError as error:
            rows = (TextRow("", f"No final result: {error}"), again)
        self._publish(replace(self.board, state=ENDED, todo="", alarms=(), final=rows))
        self._end_wanted.clear()


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f"{k} {name}" for k, name in enumerate(names, start=1)) or "none"
