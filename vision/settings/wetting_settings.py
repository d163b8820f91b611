"""What the rooms that find light and wetting are set by.

Tested in tests/vision/settings/test_causes.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from vision.settings.causes import Section


@dataclass(frozen=True)
class LightSettings(Section):
    """What `vision.illumination` is set by. Levels are logarithms: 0.01 is one per cent."""

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
    """Weight of a place on the table beside a cell of the panel."""

    uneven: float = 0.045
    """What the table keeps of the light past which the light is uneven. `OFF`: always even."""

    uneven_places: float = 0.9
    """Quantile over the places of a frame that tells it."""

    uneven_frames: float = 0.8
    """Quantile over the frames that tells it."""

    gradual: tuple[float, ...] = (0.3, 0.15, 0.08, 0.04, 0.04)
    """Least scale of what is left, round by round: a shadow is no outlier from the start."""

    main: float = 0.9
    """Part of the frames in which a cell must belong to the main wet or dry region."""

    rounds: int = 3
    """Turns of light, levels and moments; more change nothing on the sample runs."""

    refit: bool = True
    """Whether what is left of the light on the panel itself is fitted."""

    glare_above: float = 1.5
    """How many times as far off a cell counts where it is brighter than expected: glare on the bag
    is added light, so it must not set the light of a whole photo. 1: no more than a darker one."""

    least_cells: float = 20
    """Cells that must be wet, and dry, for a frame's own strength of the wet look. `OFF`: one
    strength for all frames."""

    guard_frames: int = 1
    """Frames on either side of the change that count neither as dry nor as wet."""

    clear_gain: float = 0.1
    """Gain of a cell that wetted, as a share of what the clearest tenth reach: where little of the
    panel is wet yet, most cells show chance alone."""

    least_darkening: float = 0.01
    """How clear what grew darker must be beside the rest, for it to be the wetting."""

    off_colour: float = 0.12
    """A colour this far off the way from dry to wet, as a share of the step, is something else
    if chance does not reach that far.
    `OFF`: every colour passes."""

    deepening: tuple[float, float] = (0.0, 2.5)
    """Bounds of how far the wet look may have come at an age. (1, 1): the same at any age."""

    def lasts_frames(self, count: int) -> int:
        """Return the frames over whose median a shadow lasts; somebody who leans over does not.

        Seven at the least: what three frames alone show need not be so. Else no more than a tenth
        of the run's `count` frames: what stays for longer does not pass.
        """
        most = max(7, count // 10)
        return min(2 * max(self.passing_frames, 3) + 1, most - (most + 1) % 2)

    @property
    def left_lying_frames(self) -> int:
        """What is still there at the end and came more frames before it does not pass."""
        return self.passing_frames


@dataclass(frozen=True)
class WettingSettings(Section):
    """What `vision.wetting` is set by. Wetness is in steps: 0 dry, 1 just after wetting."""

    onset: float = 0.32
    """Share of a pixel's step from which it counts as wet: what a blurred edge with the usual
    deepening behind it shows at the front itself. `edge_profile` then corrects what is left."""

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

    hidden_share: float = 0.3
    """Part of a small window that must contradict the result for something to stand there.
    `OFF`: nothing is hidden but what has another colour."""

    hidden_at_most: float = 1 / 3
    """Share of the frames beyond which what looks wrong is no passing thing: the result is."""

    sunlit: float = 0.5
    """A whole patch this much brighter than dry, in steps, has something shining on it."""

    sun_lasts: float = 0.2
    """Share of the frames that sun stays for at the least; a hand in one place stays for fewer.
    `OFF`: no sun is looked for on what is dry."""

    glare_share: float = 0.7
    """Share of the typical step below which a pixel is taken to lie in glare."""

    glare_doubt: float = 0.25
    """Most that another light may make of such a pixel, in steps. `OFF`: glare always votes."""

    speck_frames: float = 2
    """Frames by which a speck differs from what lies around it. `OFF`: there are no specks."""

    foreign: float = 1.5
    """How far beyond what nearly all wetted fabric showed a colour is no fabric. `OFF`: none."""

    around_mm: float = 36.0
    """Window in which a patch that stayed dry is compared with the wetted fabric around it."""

    least_around: float = 0.15
    """Part of it that must have wetted."""

    unlike: float = 2.5
    """Spreads of the fabric around it from which a dry patch is no fabric. `OFF`: none."""

    least_spread: float = 0.03
    """Least spread, as a logarithm: the eye tells no less on cloth."""

    ink_step: float = 0.35
    """A thin mark this much wetter than the wet fabric around it is ink, in steps, if chance does
    not reach that far. `OFF`: no ink is looked for on what is wet."""

    @property
    def ink_rim_mm(self) -> float:
        """Width of the window about ink whose blurred rim looks wet: it does not vote either."""
        return self.causes.pen_mm + 2.0

    @property
    def glare_rim_mm(self) -> float:
        """The same for glare, which has the texture's own sharpness."""
        return self.causes.tow_mm

    @property
    def ink_around_mm(self) -> float:
        """Width of the window in which ink must be the lesser part, figures included."""
        return 7 * self.causes.pen_mm

    @property
    def speck_mm(self) -> float:
        """Width of the window of which a speck fills less than half: one tow, or two."""
        return 3 * self.causes.tow_mm

    @property
    def join_mm(self) -> float:
        """Hidden patches this near each other are one: fingers are nearer than half a hand."""
        return self.causes.hand_mm / 2

    @property
    def sun_join_mm(self) -> float:
        """Sunlit patches this near each other are one; what is smaller is no patch of sun."""
        return 3 * self.causes.tow_mm


@dataclass(frozen=True)
class EarlierStepSettings:
    """What `vision.wetting.earlier_step` is set by."""

    passing_frames: int = 5
    """Frames over whose median a change counts: what one or two show may be a hand."""

    least_side_frames: int = 3
    """Frames that must show the level before the step, and after it."""

    least_sigmas: float = 4.0
    """Least step, in standard deviations of a cell in one frame; over three frames and a quarter
    of the cells chance does not come near it."""

    sharpness: float = 0.7
    """Part of the step that must show within the three frames on either side of it, and those that
    a front takes to cross the cell: light drifts."""

    least_share: float = 0.25
    """Share of the cells with frames enough before the strong change that must show the step."""

    least_cells: int = 12
    """And their least number."""

    least_order: float = 0.95
    """Least rank correlation with the strong change. Shadows and people do not follow a front."""

    follow: str = "first"
    """Which of two changes is followed, as the user names it: ``"first"`` or ``"second"``."""
