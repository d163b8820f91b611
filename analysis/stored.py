"""What the tracker left under results/, read back as records."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from vision.common.atomic_files import read_json
from vision.errors import WetlineError
from vision.records import DrySpot, FrontCurve, FrontSummary, ScaleSummary


def read_tracked(folder: Path) -> tuple[FrontCurve, FrontSummary, ScaleSummary]:
    """Read front.csv and the front and scale sections of results.json of a panel folder.

    Raises
    ------
    WetlineError
        If they are not there yet, or are not what Wetline writes.
    """
    from vision.front.front_csv import read_front_csv

    results = Path(folder) / "results"
    document = read_json(results / "results.json")
    try:
        front, scale = _front(document["front"]), _scale(document["scale"])
    except (KeyError, TypeError) as error:
        raise WetlineError(
            f"{results / 'results.json'}: lacks what the tracker writes: run `wetline track` again"
        ) from error
    curve: FrontCurve = read_front_csv(results / "front.csv")
    return curve, front, scale


def _front(values: dict[str, Any]) -> FrontSummary:
    """Build the summary from JSON; keys added since are left out."""
    known: dict[str, Any] = {
        k: v for k, v in values.items() if k in FrontSummary.__dataclass_fields__
    }
    known["dry_spots"] = tuple(
        DrySpot(spot["x_mm"], spot["y_mm"], spot["area_mm2"]) for spot in values["dry_spots"]
    )
    known["warnings"] = tuple(values.get("warnings", ()))
    lanes = values.get("clean_lanes_mm", ())
    known["clean_lanes_mm"] = tuple((float(a), float(b)) for a, b in lanes)
    defaults: dict[str, Any] = {
        "usable": True,
        "reason": "",
        "resin_start_sd_s": 0.0,
        "stalled_at_s": None,
        "race_tracking_mm": 0.0,
    }
    return FrontSummary(**(defaults | known))


def _scale(values: dict[str, Any]) -> ScaleSummary:
    known = {k: v for k, v in values.items() if k in ScaleSummary.__dataclass_fields__}
    defaults = {"relative_sd": 0.003, "length_mm": 0.0, "width_mm": 0.0}
    return ScaleSummary(**(defaults | known))


def read_fill_time(folder: Path) -> float | None:
    """Give the forecast fill time in s from results.json; None where there is none yet."""
    path = Path(folder) / "results" / "results.json"
    if not path.exists():
        return None
    value = (read_json(path).get("fill") or {}).get("time_s")
    return None if value is None else float(value)
