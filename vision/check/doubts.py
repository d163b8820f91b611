"""What of a run its photos do not bear out: rows that are not used, and runs that are in doubt.

Tested in tests/vision/check/test_redraw.py and tests/vision/wetting/test_earlier_step.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.check.redraw import Redrawing
from vision.illumination.coarse_wetting import CoarseWetting
from vision.records import BoolArray
from vision.settings.tracker_settings import CheckSettings, TrackerSettings
from vision.wetting.earlier_step import TwoSteps
from vision.wetting.masks import at_size


@dataclass(frozen=True)
class Unexplained:
    """Where on the panel a run was not understood; masks of the canvas's shape, each place in one.

    Attributes
    ----------
    odd : ndarray of shape (M, N), bool
        Looks dry long after it should have wetted, or wet long before.
    elsewhere : ndarray of shape (M, N), bool
        Photos by themselves show the front on the other side.
    light : ndarray of shape (M, N), bool
        Wet in one way of reading the light while dry in another.
    hidden : ndarray of shape (M, N), bool
        Never seen clearly, and filled in from around.
    """

    odd: BoolArray
    elsewhere: BoolArray
    light: BoolArray
    hidden: BoolArray

    @property
    def is_telling(self) -> bool:
        """Whether there is a place to show, and not just all of the panel hidden."""
        shown = any(mask.any() for mask in (self.odd, self.elsewhere, self.light))
        return shown or bool(self.hidden.any() and np.mean(self.hidden) < ALL_HIDDEN)


def find_unexplained(
    redrawing: Redrawing, coarse: CoarseWetting, known: BoolArray, settings: CheckSettings
) -> Unexplained:
    """Find where a run was not understood.

    Parameters
    ----------
    redrawing : Redrawing
    coarse : CoarseWetting
    known : ndarray of shape (M, N), bool
        What was seen and not filled.
    settings : CheckSettings
    """
    odd, elsewhere = redrawing.unexplained, redrawing.elsewhere
    light = np.zeros(coarse.wet_frame.shape, bool)
    if coarse.other_frame is not None and light_doubts(coarse.other_light, settings):
        light = np.abs(coarse.wet_frame - coarse.other_frame) > LIGHT_FRAMES
    light = at_size(light, known.shape) & ~odd & ~elsewhere
    hidden = ~known & ~odd & ~elsewhere & ~light
    return Unexplained(odd, elsewhere & ~odd, light, hidden)


ALL_HIDDEN = 0.95
"""Share of the panel past which what was hidden is no place but the whole."""

LIGHT_FRAMES = 2
"""Frames by which a cell must wet sooner or later in another light to be shown."""

HIDDEN = "front mostly hidden"
ELSEWHERE = "taken alone, this photo shows the front elsewhere"
FRESH = "too new: only one or two photos show this front"


def row_doubts(redrawing: Redrawing, settings: CheckSettings) -> tuple[str, ...]:
    """Return why each frame's front is not borne out; empty text where it is.

    Parameters
    ----------
    redrawing : Redrawing
    settings : CheckSettings
    """
    count = len(redrawing.off_share)
    doubts = []
    for k in range(count):
        why = ""
        if redrawing.moving[k]:
            if k >= count - settings.fresh_frames:
                why = FRESH
            elif redrawing.seen_share[k] < settings.least_seen:
                why = HIDDEN
            elif _is_elsewhere(redrawing, settings)[k]:
                why = ELSEWHERE
        doubts.append(why)
    return tuple(doubts)


def _is_elsewhere(redrawing: Redrawing, settings: CheckSettings) -> BoolArray:
    off = redrawing.off_share > settings.most_off
    # All bands together are surer than one.
    far = np.abs(redrawing.shift_mm) > redrawing.tolerance_mm / 2
    return np.asarray(off | far)


def run_doubts(
    redrawing: Redrawing,
    steps: TwoSteps | None,
    settings: TrackerSettings,
    other_light: float = 0.0,
    changed: BoolArray | None = None,
) -> tuple[str, ...]:
    """Return why a run as a whole is in doubt; nothing where the photos bear it out.

    Parameters
    ----------
    redrawing : Redrawing
    steps : TwoSteps or None
        Where two changes passed over the panel.
    settings : TrackerSettings
    other_light : float
        As in `vision.illumination.coarse_wetting.CoarseWetting`.
    changed : ndarray of shape (M, N), bool, optional
        As in `vision.repair.dry_patches.DoubtfulDry`.
    """
    return (
        *light_doubts(other_light, settings.check),
        *step_doubts(steps, settings.steps.follow),
        *redrawing_doubts(redrawing, settings.check),
        *(() if changed is None else dry_doubts(changed, settings.check)),
    )


def dry_doubts(changed: BoolArray, settings: CheckSettings) -> tuple[str, ...]:
    """Return why what seems dry behind the front may be wet; nothing where little of the panel is.

    Parameters
    ----------
    changed : ndarray of shape (M, N), bool
        As in `vision.repair.dry_patches.DoubtfulDry`.
    settings : CheckSettings
    """
    share = float(np.mean(changed))
    if share <= settings.most_unexplained:
        return ()
    return (
        f"{share:.0%} of the panel looks dry behind the front, and yet changed for good when the "
        "resin came: sun or glare hides what is wet",
    )


def light_doubts(other_light: float, settings: CheckSettings) -> tuple[str, ...]:
    """Return why the light may have been taken for wetting, or wetting for the light.

    Parameters
    ----------
    other_light : float
        Share of the panel by which the front differs where the light is read another way.
    settings : CheckSettings
    """
    if other_light <= settings.front_off:
        return ()
    return (
        "sun or a shadow moved over the panel, and the light can be read in two ways that put the "
        f"front {other_light:.0%} of the panel apart",
    )


def redrawing_doubts(redrawing: Redrawing, settings: CheckSettings) -> tuple[str, ...]:
    """Return what of a run as a whole its photos do not bear out.

    Parameters
    ----------
    redrawing : Redrawing
    settings : CheckSettings
    """
    rows = row_doubts(redrawing, settings)
    moving = np.flatnonzero(redrawing.moving)
    judged = [k for k in moving if rows[k] != FRESH]
    if not judged:
        return ()
    seen = [k for k in judged if rows[k] != HIDDEN]
    doubts = []
    bad = sum(rows[k] != "" for k in judged)
    if bad > settings.most_unused * len(judged):
        hidden = sum(rows[k] == HIDDEN for k in judged)
        ways = [(bad - hidden, "show the front elsewhere than it was read"), (hidden, "hide it")]
        doubts.append(
            f"of {len(judged)} photos "
            + " and ".join(f"{count} {what}" for count, what in ways if count)
        )
    elif seen and np.mean(redrawing.off_share[seen]) > settings.most_off_in_run:
        doubts.append(
            f"photos by themselves show {np.mean(redrawing.off_share[seen]):.0%} of the front "
            "elsewhere: the light, or something else, was not understood"
        )
    if redrawing.unexplained_share > settings.most_unexplained:
        doubts.append(
            f"{redrawing.unexplained_share:.0%} of what the photos show of the panel is not "
            "explained by resin, light and things in the way"
        )
    return tuple(doubts)


def step_doubts(steps: TwoSteps | None, follow: str) -> tuple[str, ...]:
    """Return why it is not known which of two changes is the resin; nothing where it is.

    Parameters
    ----------
    steps : TwoSteps or None
    follow : {"first", "second"}
        What the user named, or the usual.
    """
    if steps is None or steps.is_clear or follow == "second":
        return ()
    return (
        "a change too faint to follow ran over the panel ahead of the one that was read: if the "
        'stronger one is the resin, write [frames] follow = "second" in panel.toml',
    )
