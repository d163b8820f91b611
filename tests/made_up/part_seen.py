"""What a camera would have seen of a made-up part, from arrival times that are known."""

import numpy as np

from vision.part_records import PartSeen
from vision.records import ScaleSummary


def part_seen(links, arrival_s, *, sd_s=5.0, noise_s=0.0, last_s=None, hidden=None, photos=40):
    """A `PartSeen` whose pixels are the plan's cells.

    Parameters
    ----------
    links : Links
    arrival_s : ndarray of shape (cells,)
        True seconds since resin start.
    sd_s : float
        Stated uncertainty of each.
    noise_s : float
        Independent noise that is put on.
    last_s : float, optional
        What came later is dry; left out, everything was seen.
    hidden : callable, optional
        Given x and y in mm, whether a place was not seen.
    photos : int
    """
    grid = links.grid
    rng = np.random.default_rng(5)
    inside = links.number >= 0
    field = links.field(np.asarray(arrival_s, float)[: links.cells])
    field = np.maximum(field + noise_s * rng.standard_normal(field.shape), 0.0)
    last = float(np.nanmax(field)) + 1.0 if last_s is None else last_s
    field = np.where(inside & (field > last), np.inf, field)
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    out = np.zeros_like(inside) if hidden is None else np.asarray(hidden(x, y), bool)
    frame_s = np.linspace(-60.0, last, photos)
    area = links.field(links.share, 0.0)
    wet = [float(area[inside & (field <= t)].sum() / area.sum()) for t in frame_s]
    return PartSeen(
        x_mm=grid.x_mm,
        y_mm=grid.y_mm,
        inside=inside,
        time_s=field,
        sd_s=np.where(np.isfinite(field), sd_s, np.nan),
        seen=inside & ~out,
        last_s=last,
        start_sd_s=1.0,
        frames=tuple(f"photo_{k:03d}.jpg" for k in range(photos)),
        frame_s=frame_s,
        wetted_share=np.array(wet),
        wetted_sd=np.full(photos, 0.002),
        used=np.ones(photos, bool),
        notes=("",) * photos,
        homographies=np.repeat(np.eye(3)[None], photos, axis=0),
        scale=ScaleSummary("sheet", 2.0, 1.0, 0.002, float(np.ptp(grid.x_mm)), 0.0),
    )
