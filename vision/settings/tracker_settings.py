"""The numbers that the measuring rooms are set by: one frozen record, in millimetres and seconds.

Each room takes its own section. Sizes become pixels and spans become frames here and nowhere
else, through the `CanvasScale` that `TrackerSettings.on_canvas` binds to every section. A value
that switches a part off is named with it: `tests/bench/ablation.py` passes such settings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from vision.records import IntArray

OFF = math.inf
"""A limit that nothing reaches: the part that it belongs to does nothing."""


@dataclass(frozen=True)
class CanvasScale:
    """What a pixel and a frame of one run stand for.

    Attributes
    ----------
    mm_per_px : float
    step_s : float
        Usual time between two frames.

    Examples
    --------
    >>> CanvasScale(0.5, 5.0).odd_px(9.0), CanvasScale(1.75, 60.0).odd_px(9.0)
    (17, 5)
    """

    mm_per_px: float = 1.0
    step_s: float = 20.0

    def odd_px(self, mm: float) -> int:
        """Return the odd number of pixels next to a length, at least 3."""
        return max(3, 2 * round((mm / self.mm_per_px - 1) / 2) + 1)

    def window(self, mm: float) -> IntArray:
        """Return a square of ones, `odd_px` wide, for OpenCV's morphology."""
        return np.ones((self.odd_px(mm),) * 2, np.uint8)

    def frames(self, seconds: float) -> int:
        """Return the number of frames that a span takes in, at least 1."""
        return max(1, math.ceil(seconds / self.step_s))


@dataclass(frozen=True)
class LightSettings:
    """What `vision.illumination` is set by. Levels are logarithms: 0.01 is one per cent."""

    scale: CanvasScale = field(default_factory=CanvasScale)

    bump_width: float = 0.45
    """Standard deviation of a bump of the uneven light, in halves of the panel's longer side."""

    bump_spacing: float = 0.4
    """Distance between the centres of neighbouring bumps, in the same unit."""

    bump_stiffness: float = 0.01
    """Square of the scatter of a place over the usual size of a bump."""

    farthest_border: float = 1.8
    """How far outside the panel (which spans -1 to 1) the table still tells the panel's light.
    0: the table tells nothing."""

    border_weight: float = 0.5
    """Describe a place on the table beside a cell of the panel."""

    uneven: float = 0.045
    """What the table keeps of the light past which the light is uneven. `OFF`: always even."""

    uneven_places: float = 0.9
    """Quantile over the places of a frame that tells it."""

    uneven_frames: float = 0.8
    """Quantile over the frames that tells it."""

    gradual: tuple[float, ...] = (0.3, 0.15, 0.08, 0.04, 0.04)
    """Least scale of what is left, round by round: a shadow is no outlier from the start."""

    lasts_frames: int = 7
    """Frames over whose median a shadow lasts; somebody who leans over for three does not."""

    main: float = 0.9
    """Part of the frames in which a cell must belong to the main wet or dry region."""

    rounds: int = 3
    """Turns of light, levels and moments; more change nothing on the sample runs."""

    refit: bool = True
    """Whether what is left of the light on the panel itself is fitted."""

    least_cells: float = 20
    """Cells that must be wet, and dry, for a frame's own strength of the wet look. `OFF`: one
    strength for all frames."""

    guard_frames: int = 1
    """Frames on either side of the change that count neither as dry nor as wet."""

    clear_gain: float = 0.1
    """Gain of a cell that wetted, as a share of what the clearest tenth reach."""

    least_darker: float = 0.1
    """Share of the cells that must have grown darker for it to be the wetting."""

    least_darkening: float = 0.01
    """And how clear that must be beside the rest."""

    early_frames: int = 3
    """A cell whose split comes before this frame wetted while the first dry level was taken."""

    off_colour: float = 0.12
    """A colour this far off the way from dry to wet, as a share of the step, is something else.
    `OFF`: every colour passes."""

    off_colour_sigmas: float = 5.0
    """And this far off in standard deviations of a cell's level."""

    left_lying_frames: int = 3
    """What is still there at the end and came more frames before it stays."""

    deepening: tuple[float, float] = (0.0, 2.5)
    """Bounds of how far the wet look may have come at an age. (1, 1): the same at any age."""

    clip: float = 6.0
    """Most that one frame may say about one cell, in log-likelihood."""

    most_unexplained: float = 0.15
    """Most that one cell may leave unexplained in one frame: a hand is no light."""

    least_contrast: float = 8.6
    """Step from dry to wet in standard deviations of a cell's level; below, what is left of
    shadows and chance make steps."""


@dataclass(frozen=True)
class WettingSettings:
    """What `vision.wetting` is set by. Wetness is in steps: 0 dry, 1 just after wetting."""

    scale: CanvasScale = field(default_factory=CanvasScale)

    onset: float = 0.32
    """Share of a pixel's step from which it counts as wet: what a blurred edge with the usual
    deepening behind it shows at the front itself. `edge_profile` then corrects what is left."""

    clip: float = 4.0
    """Most that one frame may say about one pixel, in log-likelihood."""

    alarm: float = 10.0
    """Evidence gathered without a break from which a pixel looks wet, if only for a while."""

    sure: float = 1.0
    """Evidence beyond which a frame is taken to show the pixel wet or dry by itself."""

    sigma_bounds: tuple[float, float] = (0.01, 100.0)
    """Bounds of the scatter of wetness; frames that are copies of each other have none."""

    dry_looks: int = 24
    """Frames the dry level is averaged over at the most."""

    noise_looks: int = 12
    """Pairs of frames that the noise is taken from, or a few more."""

    wet_looks: int = 4
    """Frames after the change that the wet level is taken from."""

    blown: int = 250
    """A pixel this bright in any colour (of 255) shows only glare."""

    strange: float = 1.6
    """Wetness this far beyond the dry or the wet level is something else: skin, ink, a tool.
    `OFF`: nothing is."""

    ink_rim_mm: float = 5.0
    """Width of the window in which the blurred rim of ink looks wet: it does not vote either."""

    glare_rim_mm: float = 3.0
    """The same for glare, which is sharper."""

    hidden_share: float = 0.3
    """Part of a small window that must contradict the result for something to stand there.
    `OFF`: nothing is hidden but what has another colour."""

    hidden_at_most: float = 1 / 3
    """Share of the frames beyond which what looks wrong is no passing thing: the result is."""

    join_mm: float = 36.0
    """Hidden patches this near each other are one."""

    sunlit: float = 0.5
    """A whole patch this much brighter than dry, in steps, has something shining on it."""

    sun_lasts: float = 0.2
    """Share of the frames that sun stays for at the least; a hand in one place stays for fewer.
    `OFF`: no sun is looked for on what is dry."""

    sun_join_mm: float = 18.0
    """Sunlit patches this near each other are one; smaller ones are none."""

    glare_share: float = 0.7
    """Share of the typical step below which a pixel is taken to lie in glare."""

    wide_glare_mm: float = 13.0
    """Glare fades out over some millimetres, which look wet when the light changes."""

    glare_doubt: float = 0.25
    """Most that another light may make of such a pixel, in steps. `OFF`: glare always votes."""

    speck_mm: float = 9.0
    """Window in which a patch smaller than half is taken for a speck and filled from around it."""

    speck_frames: float = 2
    """Frames by which a speck differs from what lies around it. `OFF`: there are no specks."""

    foreign: float = 1.5
    """How far beyond what nearly all wetted fabric showed a colour is no fabric. `OFF`: none."""

    ink_step: float = 0.35
    """A thin mark this much wetter than the wet fabric around it is ink, in steps. `OFF`: no ink
    is looked for on what is wet."""

    ink_sigmas: float = 5.0
    """And this far out of the usual scatter."""

    ink_around_mm: float = 21.0
    """Window in which a mark must be thin."""

    least_ink_mm: float = 12.0
    """Marks, or groups of them as in a figure, that reach less far do not count."""


@dataclass(frozen=True)
class RepairSettings:
    """What `vision.repair` is set by."""

    scale: CanvasScale = field(default_factory=CanvasScale)

    least_front: float = 0.002
    """Share of the panel that must be wet before it counts as a front."""

    early_frames: int = 4
    """What changes by this frame may have been wet when the dry level was taken."""

    least_step: float = 0.5
    """What has changed by less than this, in steps, from the first frames to the last, has not."""

    rim_share: float = 0.5
    """Least part of the rim of a patch at the feed that wets in the first frames after it."""

    rim_frames: int = 2
    """Frames by which the rim must have wetted: a fitting on the feed looks wet too, but the resin
    comes out of it later, when the run begins."""

    feed_gap_mm: float = 9.0
    """Gaps in such a patch, and between it and the feed, that do not matter."""

    dry_speck_mm: float = 25.0
    """Patches of dry fabric smaller than this are specks within a wet patch."""

    least_later: float = 0.05
    """Share of the panel that must have wetted later, for dry to be known. `OFF`: nothing is
    taken to have been wet by its level."""

    wet_level: tuple[float, float] = (0.4, 1.6)
    """How wet such a patch looks beside what lies around it; a fitting or tape looks otherwise."""

    most_of_feed: float = 0.5
    """Share of a feed edge beyond which what looks the same throughout is no fitting on it.
    `OFF`: nothing is taken to have been wet by lying along the edge."""

    fill_holes: bool = True
    """Whether holes are filled from around them, or keep what was guessed there."""

    along_flow: int = 4
    """How much nearer a place along the flow counts than one across it, where the feed is an edge.
    1: as near."""

    near_feed: float = 0.1
    """Share of the run's length added to the distance from the feed, so that it is nowhere 0."""

    longest_gap_frames: int = 6
    """A change with no clear frame on either side for longer than this is filled from around it."""

    hole_rim_mm: float = 9.0
    """Width of the window that makes the rim of a hole."""

    out_of_step: float = 0.04
    """Share of the front's distance by which the rim of a hole may be out of step. 1: any."""

    still: float = 2e-4
    """Share of the panel that wets at a frame by chance once the front has stopped. -1: it never
    stops."""

    stopped_frames: int = 3
    """Frames at the end in which nothing wets: the front has stopped."""

    wide_gap: float = 2.0
    """Where the front stopped, a hole so many times as long as in most lanes hides more than a
    line."""

    bridge_share: float = 0.015
    """Gaps up to this share of the panel's length do not cut off what lies beyond them."""

    most_ahead: float = 0.4
    """Share of what wetted past which the feed must have been misjudged. 0: nothing is cut off."""

    sun_frames: int = 2
    """Frames by which a change may come late, or differ from what is expected, by chance."""

    sun_share: float = 0.15
    """And the share of the time of the change by which it may differ."""

    sun_least: float = 0.005
    """Share of the panel below which no sun patch is looked for. `OFF`: none is looked for."""

    sun_agreed: float = 0.7
    """Least part of a patch that turned wet when it should, for sun to have fallen on it later."""

    sun_patch_mm: float = 9.0
    """Smaller patches are no sun."""

    sun_rim_mm: float = 21.0
    """Width of the window that makes the rim of the sun."""


@dataclass(frozen=True)
class EdgeSettings:
    """What `vision.arrival.edge_profile` is set by. It works in pixels: its edge is the lens's."""

    reach_px: int = 14
    """How far to either side of the contour the profile is taken."""

    noise: float = 0.02
    """Scatter of a profile's means about a smooth edge. `OFF`: the contour is the front."""

    groups: int = 4
    """Stretches of the run with a profile of their own."""

    smooth_px: float = 3.0
    """Smoothing of the contour from which the profile is taken."""

    frames_looked_at: int = 16
    """Most frames the profiles are made from, evenly over those in which the front moved."""


@dataclass(frozen=True)
class StartSettings:
    """What `vision.arrival.resin_start` is set by."""

    least_share: float = 0.005
    """A front nearer than this share of the reach has not left the feed yet."""

    fewest_for_feed: int = 6
    """Fronts needed to tell the feed's resistance from the fabric's."""

    least_apart: float = 0.5
    """Share of the difference between the two fits that stays in doubt whatever the fronts say."""

    unseen_share: float = 0.2
    """Uncertainty of a start before the first frame, as a share of the time since it."""


@dataclass(frozen=True)
class UsabilitySettings:
    """What `vision.arrival.usability` is set by."""

    least_wetted: float = 0.004
    """Share of the panel that must have wetted for a front to be measured."""

    least_seen: float = 0.25
    """Share of the wetted area that must have been seen rather than filled."""

    widest_edge_mm: float = 15.0
    """A front more blurred than this cannot be placed."""

    least_order: float = 0.35
    """Rank correlation between distance from the feed and time of wetting."""

    most_dry_lanes: float = 0.3
    """Share of the lanes that wetted farther on but not beside the feed edge: resin came from
    there."""

    beside_feed: float = 0.03
    """Share of the length that is beside the feed."""

    farther_on: float = 0.1
    """Share of the length that must have wetted farther on."""


@dataclass(frozen=True)
class TrackerSettings:
    """All that the way from canvases to the arrival map is set by.

    Attributes
    ----------
    light : LightSettings
    wetting : WettingSettings
    repair : RepairSettings
    edge : EdgeSettings
    start : StartSettings
    usability : UsabilitySettings
    """

    light: LightSettings = field(default_factory=LightSettings)
    wetting: WettingSettings = field(default_factory=WettingSettings)
    repair: RepairSettings = field(default_factory=RepairSettings)
    edge: EdgeSettings = field(default_factory=EdgeSettings)
    start: StartSettings = field(default_factory=StartSettings)
    usability: UsabilitySettings = field(default_factory=UsabilitySettings)

    def on_canvas(self, mm_per_px: float, step_s: float) -> TrackerSettings:
        """Return the same settings, bound to a run's pixels and frames."""
        scale = CanvasScale(mm_per_px, step_s)
        return replace(
            self,
            light=replace(self.light, scale=scale),
            wetting=replace(self.wetting, scale=scale),
            repair=replace(self.repair, scale=scale),
        )
