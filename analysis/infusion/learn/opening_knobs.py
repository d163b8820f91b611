"""Feeds that opened at another time than stated, as the fit takes them.

Tested in tests/analysis/infusion/beside/test_openings.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.infusion.learn.coarse_model import CoarseModel
from analysis.infusion.learn.knobs import Knob
from analysis.infusion.learn.learnt import EARLY, LATE, SHUT, UNSEEN, WORKS, Opening
from analysis.infusion.learn.not_reached import Whole
from analysis.part.plan.part_toml import PartJob
from vision.common.rounding import minutes
from vision.records import FloatArray

LEAST_SD, MOST_SD = 0.03, 0.5
"""How far the impulse of an opening that was seen may lie from where it was, as a logarithm."""
UNSEEN_SD, WORKS_SD = 0.15, 0.05
"""The same where nobody noted it: of one that the picture does not tell, and of one that is at work
as it should (judgement)."""
OWN_DOUBT = 0.15
"""Relative doubt of the time still to come where a feed opens otherwise."""
NEVER = float(np.log(1e3))
"""Puts an opening past every filling."""


def taken_s(
    opened_s: Sequence[float | None] | None, openings: Sequence[Opening], feeds: int
) -> list[float | None] | None:
    """Return when each feed is taken to have opened: as seen where that is clear, else as stated.

    Parameters
    ----------
    opened_s : sequence of (float or None), optional
        As noted.
    openings : sequence of Opening
    feeds : int
        How many feeds the plan has.
    """
    taken = {one.index: one.taken_s for one in openings if one.other or _doubtful(one)}
    if not taken:
        return None if opened_s is None else list(opened_s)
    noted: Sequence[float | None] = [None] * feeds if opened_s is None else opened_s
    return [taken.get(k, at) for k, at in enumerate(noted)]


def _doubtful(one: Opening) -> bool:
    """Return whether nobody noted when a feed opened, though it was to be open by now."""
    return one.state in (UNSEEN, WORKS) and not one.noted and one.said_s > 0


def opening_knobs(job: PartJob, openings: Sequence[Opening]) -> list[Knob]:
    """Return the openings that are no fixed numbers of the fit.

    Parameters
    ----------
    job : PartJob
    openings : sequence of Opening

    Notes
    -----
    One that was seen may lie twice as far from there as its interval says: the fit finds it anew
    from the same photos, together with all else. One that seems shut is not searched for: it only
    tells how wide the forecast is (`fill_ends_s`).
    """
    found = []
    for one in openings:
        sd = {SHUT: LEAST_SD, UNSEEN: UNSEEN_SD, WORKS: WORKS_SD}.get(one.state, MOST_SD)
        if one.state in (EARLY, LATE):
            low, high = (float(job.impulse.at(max(at, 1.0))) for at in (one.low_s, one.high_s))
            sd = float(np.clip(np.log(high / low) / 2.0, LEAST_SD, MOST_SD))
        if one.other or _doubtful(one):
            found.append(Knob("opening", one.index, f"when {one.name} opened", sd))
    return found


def searched(openings: Sequence[Opening]) -> frozenset[int]:
    """Return the feeds whose opening the fit searches for."""
    return frozenset(one.index for one in openings if one.state != SHUT)


def fill_ends_s(
    model: CoarseModel, at: FloatArray, openings: Sequence[Opening], last_s: float
) -> tuple[float, float]:
    """Return when the part is full if shut feeds open now, and if unsure ones never do.

    Parameters
    ----------
    model : CoarseModel
    at : ndarray of shape (N,)
    openings : sequence of Opening
    last_s : float

    Returns
    -------
    soonest_s, latest_s : float
        Infinity and minus infinity where there is no such feed.
    """
    now, never = np.array(at, float), np.array(at, float)
    state = {one.index: one for one in openings}
    for k, knob in enumerate(model.knobs):
        one = state.get(knob.index) if knob.kind == "opening" else None
        if one is not None and one.state == SHUT:
            base, last = (float(model.job.impulse.at(time)) for time in (one.taken_s, last_s))
            now[k] = np.log(last / base)
        elif one is not None and one.state == UNSEEN and not one.noted:
            never[k] = NEVER
    soonest = model.fill_time_s(now) if (now != at).any() else np.inf
    return soonest, model.fill_time_s(never) if (never != at).any() else -np.inf


def as_wide(
    fill_s: tuple[float, float, float], ends_s: tuple[float, float], last_s: float
) -> tuple[float, float, float]:
    """Return a forecast and its interval, widened to hold `fill_ends_s` with a doubt of their own.

    Examples
    --------
    >>> as_wide((1000.0, 900.0, 1100.0), (800.0, -np.inf), 500.0)
    (1000.0, 755.0, 1100.0)
    """
    full, low, high = fill_s
    soonest, latest = (at if np.isinf(at) else at - last_s for at in ends_s)
    return (
        full,
        min(low, last_s + (1.0 - OWN_DOUBT) * soonest),
        max(high, last_s + (1.0 + OWN_DOUBT) * latest),
    )


def when_opened(
    job: PartJob, openings: Sequence[Opening], every: Sequence[Knob], whole: Whole
) -> tuple[Opening, ...]:
    """Return the openings with the times at which the fit has those that were seen."""
    found = []
    for one in openings:
        spots = [
            k for k, knob in enumerate(every) if (knob.kind, knob.index) == ("opening", one.index)
        ]
        if one.state in (EARLY, LATE) and spots:
            at, half = whole.at[spots[0]], 1.96 * whole.sd[spots[0]]
            base = float(job.impulse.at(one.since_s))
            times = [
                float(job.impulse.time_of(base * np.exp(v))) for v in (at, at - half, at + half)
            ]
            one = replace(one, since_s=times[0], low_s=times[1], high_s=times[2])
        found.append(one)
    return tuple(found)


def opening_notes(openings: Sequence[Opening], full: bool = False) -> tuple[str, ...]:
    """Write what the values rest on where a feed did not open when it was to, or may not have.

    Parameters
    ----------
    openings : sequence of Opening
    full : bool, optional
        Whether all of the part was wet when last seen: there is no forecast any more then.
    """
    said = []
    for one in openings:
        word = "the note that it was open" if one.noted else "the plan, which has it open"
        if one.state == SHUT:
            more = (
                "" if full else "; the range of the fill time holds that it opens at the last photo"
            )
            said.append(f"{one.name} is taken as shut, as seen{more}")
        elif one.other:
            said.append(
                f"{one.name} is taken as open since {minutes(one.since_s)}, as seen, not since "
                f"{minutes(one.said_s)}"
            )
        elif one.state == UNSEEN:
            more = "; the range of the fill time holds that it is shut"
            more = "" if full or one.noted else more
            what = "values rest" if full else "values and forecast rest"
            said.append(
                f"whether {one.name} is open cannot be seen: {what} on {word} "
                f"since {minutes(one.said_s)}{more}"
            )
    return tuple(said)
