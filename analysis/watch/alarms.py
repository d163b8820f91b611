"""What is wrong at the panel, in words: the first line says what, the second what to do."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.forecast.verdict import UNFAIR_RACE_SHARE, UNFAIR_SAG
from vision.common.rounding import minutes

ACT, LOOK = "act", "look"
GLARE_SHARE = 0.5
LEAST_RACE_MM = 15.0
"""No edge is said to race for less: near the feed a share of the way is a millimetre or two."""


@dataclass(frozen=True)
class Alarm:
    """One thing that is wrong.

    Attributes
    ----------
    key : str
        The same thing keeps its key, so that a muted alarm stays muted.
    level : {"act", "look"}
        Act now, or look when you can.
    text, todo : str
    """

    key: str
    level: str
    text: str
    todo: str


@dataclass(frozen=True)
class Situation:
    """What the alarms are judged on; None and empty text where it is not known."""

    silence_s: float = 0.0
    gap_s: float = 10.0
    camera_fault: str = ""
    store_fault: str = ""
    space: str = ""
    running: bool = False
    ended: bool = False
    lost: bool = False
    frozen: bool = False
    camera_note: str = ""
    hidden: float = 0.0
    cannot_see: str = ""
    doubts: str = ""
    stalled_at_mm: float | None = None
    racing_mm: float = 0.0
    reached_mm: float = 0.0
    vacuum_lost: float = 0.0
    elapsed_s: float | None = None
    end_s: float | None = None
    end_high_s: float | None = None
    overdue: bool = False
    slowing: bool = False
    gel_s: float | None = None
    working_s: float | None = None
    filled: bool = False
    clamped: bool = False
    beside: str = ""
    what: str = "Panel"
    span: str = "95 %"


def alarms_for(now: Situation) -> list[Alarm]:
    """List what is wrong, the most urgent first."""
    if now.ended:
        return []
    found = [*_camera(now), *_front(now), *_gel(now)]
    return sorted(found, key=lambda alarm: alarm.level != ACT)


def _camera(now: Situation) -> list[Alarm]:
    out = []
    if now.store_fault:
        out.append(Alarm("disk", ACT, "Pictures are not being saved", now.store_fault))
    elif now.space:
        out.append(Alarm("space", LOOK, "Disk nearly full", now.space))
    if now.silence_s > now.gap_s:
        todo = now.camera_fault or "Look at the camera: cable, battery, network, screen asleep."
        out.append(Alarm("silent", ACT, f"No picture for {_span(now.silence_s)}", todo))
    elif now.frozen:
        todo = "Take the camera's plug out and in, or start its program again."
        out.append(Alarm("frozen", ACT, "The camera's picture stands still", todo))
    if now.lost:
        todo = "Put the camera back as it was, or clear what stands before it."
        out.append(Alarm("lost", ACT, f"{now.what} not found in the picture", todo))
    elif now.camera_note:
        todo = "It is being followed. Clamp the camera so that it stays."
        out.append(Alarm("moved", LOOK, "Camera moved", f"It moved {now.camera_note}. {todo}"))
    if now.running and not now.lost and now.hidden > GLARE_SHARE:
        todo = "Move the lamp or what covers it; do not move the camera."
        out.append(Alarm("glare", LOOK, "Glare or something hides the front", todo))
    if now.running and now.cannot_see and not now.lost:
        out.append(Alarm("sight", LOOK, "The front cannot be made out", now.cannot_see))
    if now.running and now.doubts and not now.lost:
        look = f"Look at the {now.what.lower()} itself, and mark it."
        todo = f"{now.doubts[:1].upper()}{now.doubts[1:]}. {look}"
        out.append(Alarm("doubt", LOOK, "The front that is shown may be wrong", todo))
    return out


def _front(now: Situation) -> list[Alarm]:
    out = []
    if now.vacuum_lost > UNFAIR_SAG:
        text = f"Vacuum lost: {now.vacuum_lost:.0%} of the pull is gone"
        out.append(Alarm("vacuum", ACT, text, "Find the leak: sealant tape, fittings, pump."))
    stands = now.stalled_at_mm is not None and not now.lost
    if stands and not now.clamped and not now.filled:
        text = f"Front stalled at {now.stalled_at_mm:.0f} mm"
        todo = "Look for an empty pot, a pinched line, a leak, or resin that gels."
        out.append(Alarm("stall", ACT, text, todo))
    if now.racing_mm > max(LEAST_RACE_MM, UNFAIR_RACE_SHARE * now.reached_mm):
        text = f"An edge races: {now.racing_mm:.0f} mm ahead of the middle"
        todo = "Press the bag down along that edge; note it. The panel may be no fair test."
        out.append(Alarm("race", LOOK, text, todo))
    if now.beside and not now.filled and not now.clamped:
        todo = "Find out what differs: vacuum, resin temperature, lay-up, line."
        out.append(Alarm("beside", LOOK, f"Not like the good runs: {now.beside}", todo))
    if now.slowing and not now.filled and not now.clamped and now.stalled_at_mm is None:
        text = "The front slows more than resin and vacuum as stated explain"
        todo = "Look at gauge, pot and line; feel whether the resin in the pot thickens."
        out.append(Alarm("slowing", LOOK, text, todo))
    if now.overdue and not now.filled and not now.clamped:
        todo = "Look at the panel: has the front stopped, or can the camera not see it?"
        text = "The front is not at the end when it should be"
        if now.silence_s > now.gap_s:
            text = "The front should be at the end by now, and no picture shows it"
        out.append(Alarm("overdue", ACT, text, todo))
    if now.filled and not now.clamped:
        todo = "Clamp the resin line when your plan says so, then press Clamp now."
        out.append(Alarm("filled", LOOK, "The front is at the end", todo))
    return out


def _gel(now: Situation) -> list[Alarm]:
    if now.gel_s is None or now.elapsed_s is None or now.filled or not now.running:
        return []
    if now.elapsed_s > now.gel_s:
        todo = "Mixed resin left in the pot may heat and smoke: keep away from it, outdoors."
        return [Alarm("gel", ACT, "Gel time is over and the front is not at the end", todo)]
    if now.end_s is None:
        return []
    if now.end_s > now.gel_s:
        gel, end = minutes(now.gel_s, "down"), minutes(now.end_s)
        text = f"Gel comes before the end: gel at {gel}, end at {end}"
        return [Alarm("gel", ACT, text, "Open a second feed if one is laid, or stop in time.")]
    limit = now.working_s if now.working_s is not None else now.gel_s
    if now.end_high_s is not None and now.end_high_s > limit:
        late = "perhaps never"
        if math.isfinite(now.end_high_s):
            late = f"by {minutes(now.end_high_s, 'up')}"
        text = (
            f"The end may come too late ({now.span}: {late}): working time ends at "
            f"{minutes(limit, 'down')}"
        )
        if now.end_high_s > now.gel_s:
            gel = minutes(now.gel_s, "down")
            text = f"Gel may come before the end ({now.span}: end {late}): gel at {gel}"
        return [Alarm("tight", LOOK, text, "Watch the front; have the clamp ready.")]
    return []


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
