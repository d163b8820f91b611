"""Cloth behind the front that nobody saw wet: how much of it, and where most of it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from analysis.infusion.ahead.front_ahead import BESIDE, Ahead

LEAST_SHARE = 5e-3
"""Share of the part from which on it is told of (common practice, no source)."""


@dataclass(frozen=True)
class NotSeen:
    """Cloth that counts as wet because the front went past all around it.

    Attributes
    ----------
    area_mm2 : float
        In all.
    x_mm, y_mm : float
        A place of it, amid the largest piece.
    """

    area_mm2: float
    x_mm: float
    y_mm: float


def find_not_seen(ahead: Ahead) -> NotSeen | None:
    """Find the cloth that is taken as wet though nobody saw it wet.

    Parameters
    ----------
    ahead : Ahead

    Returns
    -------
    NotSeen or None
        None where it is too little to speak of.
    """
    links = ahead.links
    under, share = ahead.under[: links.cells], links.share[: links.cells]
    area = float(share[under].sum())
    if not area or area < LEAST_SHARE * float(share.sum()):
        return None
    label = ndimage.label(links.field(under.astype(float), 0.0) > 0, BESIDE)[0]
    name = label[links.number >= 0]
    sizes = np.bincount(name[under], weights=share[under])
    piece = links.centre_mm[: links.cells][name == int(np.argmax(sizes))]
    x, y = piece[int(np.argmin(np.hypot(*(piece - piece.mean(axis=0)).T)))]
    return NotSeen(area * links.grid.cell_m2 * 1e6, float(x), float(y))
