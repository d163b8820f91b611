"""What the rooms from the holes to the arrival map are set by.

Tested in tests/vision/settings/test_causes.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from vision.records import IntArray
from vision.settings.causes import Section


@dataclass(frozen=True)
class RepairSettings(Section):
    """What `vision.repair` is set by."""

    least_front: float = 0.002
    """Share of the panel that must be wet before it counts as a front."""

    least_step: float = 0.5
    """What has changed by less than this, in steps, from the first frames to the last, has not."""

    rim_share: float = 0.5
    """Least part of the rim of a patch at the feed that wets in the first frames after it."""

    rim_frames: int = 2
    """Frames by which the rim must have wetted: a fitting on the feed looks wet too, but the resin
    comes out of it later, when the run begins."""

    least_later: float = 0.05
    """Share of the panel that must have wetted later, for dry to be known. `OFF`: nothing is
    taken to have been wet by its level."""

    least_wet: float = 0.4
    """How much wetter, in steps, such a patch looks than the dry fabric around it; tape or a bright
    fitting does not."""

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

    bridge_filled: float = 0.004
    """The same once holes have been filled."""

    most_ahead: float = 0.4
    """Share of what wetted past which the feed must have been misjudged. 0: nothing is cut off."""

    leap: float = 3.0
    """A lane leaps when it advances by so many times what the lanes do in a frame. `OFF`: none."""

    leap_mm: float = 5.0
    """And so much farther: lanes differ by millimetres."""

    waits: float = 0.3
    """A lane waits while it advances by less than so much of what the lanes do."""

    waits_frames: int = 2
    """For so many frames before or after it has leapt."""

    at_once: float = 0.8
    """Part of the leap that must have wetted in one frame: a front that comes round a dry spot
    leaves some of it dry."""

    least_dry_mm2: float = 30.0
    """Smaller patches that stayed dry are no dry spots. `OFF`: none is doubted."""

    least_dry_seen: float = 0.8
    """Part of a dry patch that must have been seen: else all of it is what hides the rest."""

    dry_frames: int = 3
    """Frames for which a patch must have stayed dry once the front had gone round it."""

    least_change: float = 0.15
    """A patch that looks so much wetter in the end, in steps, is not dry: it lies under glare."""

    sun_frames: float = 2
    """Frames by which a change may come late, or differ from what is expected, by chance. `OFF`: no
    sun is looked for on what was wet."""

    sun_share: float = 0.15
    """And the share of the time of the change by which it may differ."""

    @property
    def feed_gap_mm(self) -> float:
        """Gaps in what was wet at the feed, and between it and the feed, that do not matter."""
        return 3 * self.causes.tow_mm

    @property
    def longest_gap_frames(self) -> int:
        """A change with no clear frame about it for longer is filled from around it."""
        return 2 * self.passing_frames

    @property
    def hole_rim_mm(self) -> float:
        """Width of the window that makes the rim of a hole: a pen line to either side."""
        return 3 * self.causes.pen_mm

    @property
    def speck_window(self) -> IntArray:
        """A hole smaller than this is a speck, which parts nothing."""
        return self.scale.window(self.causes.tow_mm)

    @property
    def island_window(self) -> IntArray:
        """Least of what was seen in a hole to count: two tows broad either way."""
        return self.scale.window(2 * self.causes.tow_mm)

    @property
    def sun_patch_mm(self) -> float:
        """Smaller patches are no sun."""
        return 3 * self.causes.tow_mm

    @property
    def sun_rim_mm(self) -> float:
        """Width of the window that makes the soft rim of a patch of sun."""
        return 7 * self.causes.tow_mm


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

    near_share: float = 0.1
    """Nor may one nearer than this share that hardly moves before the front runs.
    0: whatever is wet has left."""

    slow_share: float = 0.25
    """What advances by less than this share of the fastest hardly moves. Common practice, no
    source."""

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
