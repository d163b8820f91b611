"""The numbers that the measuring rooms are set by: one frozen record, in millimetres and seconds.

Each room takes its own section. A value that switches a part off is named with it:
`tests/bench/ablation.py` passes such settings.

Tested in tests/vision/settings/test_causes.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from vision.settings.causes import CanvasScale, Causes
from vision.settings.repair_settings import (
    EdgeSettings,
    RepairSettings,
    StartSettings,
    UsabilitySettings,
)
from vision.settings.wetting_settings import EarlierStepSettings, LightSettings, WettingSettings


@dataclass(frozen=True)
class CheckSettings:
    """What `vision.check` is set by. Wetness is in steps, lengths are shares of the panel's."""

    front_off: float = 0.02
    """How far from the claimed front a photo by itself may show it: what one photo's noise does
    to a band of lanes stays well within."""

    farthest: float = 0.05
    """One band that shows its front elsewhere counts for no more than this in the mean."""

    lag_frames: int = 2
    """Frames after, or before, the front came by which a place should look wet, or dry."""

    looks_dry: float = 0.35
    """A place behind the front looks dry when it shows less than this part of the wet look."""

    looks_wet: float = 0.6
    """A place ahead of the front looks wet from here on."""

    most_off: float = 0.2
    """Share of the front that a photo by itself may show elsewhere; more, and its row is not
    used."""

    least_seen: float = 0.5
    """Share of the front that a photo must show for its row to be used."""

    most_off_in_run: float = 0.08
    """The same share as `most_off`, over a whole run, past which the run is in doubt."""

    most_unused: float = 0.5
    """Share of the rows that the photos do not bear out past which the run is in doubt."""

    most_unexplained: float = 0.03
    """Share of the places and frames left unexplained past which the run is in doubt."""

    fresh_frames: int = 2
    """A front that only so many last frames show may be a hand, or chance."""

    lasting: float = 1 / 3
    """Part of the frames in which a place must look otherwise than it should to be unexplained."""


@dataclass(frozen=True)
class TrackerSettings:
    """All that the way from canvases to the arrival map is set by.

    Attributes
    ----------
    causes : Causes
        What the sizes and bounds of light, wetting and repair come from.
    light : LightSettings
    wetting : WettingSettings
    repair : RepairSettings
    edge : EdgeSettings
    start : StartSettings
    usability : UsabilitySettings
    check : CheckSettings
    steps : EarlierStepSettings
    """

    causes: Causes = field(default_factory=Causes)
    light: LightSettings = field(default_factory=LightSettings)
    wetting: WettingSettings = field(default_factory=WettingSettings)
    repair: RepairSettings = field(default_factory=RepairSettings)
    edge: EdgeSettings = field(default_factory=EdgeSettings)
    start: StartSettings = field(default_factory=StartSettings)
    usability: UsabilitySettings = field(default_factory=UsabilitySettings)
    check: CheckSettings = field(default_factory=CheckSettings)
    steps: EarlierStepSettings = field(default_factory=EarlierStepSettings)

    def on_canvas(self, mm_per_px: float, step_s: float) -> TrackerSettings:
        """Return the same settings, bound to a run's pixels and frames."""
        scale, causes = CanvasScale(mm_per_px, step_s), self.causes
        return replace(
            self,
            light=replace(self.light, scale=scale, causes=causes),
            wetting=replace(self.wetting, scale=scale, causes=causes),
            repair=replace(self.repair, scale=scale, causes=causes),
        )
