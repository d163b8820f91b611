"""A spot that never changes: cloth that stayed dry is told, glare over wet cloth is not."""

import numpy as np
import pytest

import wetline
from tests.made_up.sheet import sheet_images

SIZE_MM = (200.0, 100.0)
TIMES_S = np.arange(-20.0, 420.0, 20.0)
FRONT_MM = np.sqrt(75.0 * TIMES_S.clip(0))


def track(**spots):
    images, corners_px = sheet_images(TIMES_S, [(FRONT_MM, 0.35)], SIZE_MM, **spots)
    return wetline.track_images(images, TIMES_S, corners_px, *SIZE_MM)


def test_an_island_that_stayed_dry_is_told():
    (spot,) = track(island_mm=(80.0, 50.0, 8.0)).front.dry_spots
    assert (spot.x_mm, spot.y_mm) == pytest.approx((80.0, 50.0), abs=2.0)
    assert spot.area_mm2 == pytest.approx(np.pi * 8.0**2, rel=0.2)


def test_glare_over_wet_cloth_is_no_dry_spot():
    run = track(glare_mm=(80.0, 50.0, 8.0))
    assert run.front.dry_spots == ()
    inside = (FRONT_MM > 10) & (FRONT_MM < 170)
    assert np.abs(run.curve.front_mean_mm - FRONT_MM)[inside].max() < 2.0
