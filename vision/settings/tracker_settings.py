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
from vision.settings.wetting_settings import LightSettings, WettingSettings


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
    """

    causes: Causes = field(default_factory=Causes)
    light: LightSettings = field(default_factory=LightSettings)
    wetting: WettingSettings = field(default_factory=WettingSettings)
    repair: RepairSettings = field(default_factory=RepairSettings)
    edge: EdgeSettings = field(default_factory=EdgeSettings)
    start: StartSettings = field(default_factory=StartSettings)
    usability: UsabilitySettings = field(default_factory=UsabilitySettings)

    def on_canvas(self, mm_per_px: float, step_s: float) -> TrackerSettings:
        """Return the same settings, bound to a run's pixels and frames."""
        scale, causes = CanvasScale(mm_per_px, step_s), self.causes
        return replace(
            self,
            light=replace(self.light, scale=scale, causes=causes),
            wetting=replace(self.wetting, scale=scale, causes=causes),
            repair=replace(self.repair, scale=scale, causes=causes),
        )
