import numpy as np

from vision.check.front_grid import front_grid
from vision.repair.feed import Feed, FeedOnCanvas

EDGE = FeedOnCanvas(Feed(), (60, 120), 0.5)


def test_places_run_along_the_flow_in_bands_of_lanes():
    grid = front_grid(EDGE)
    assert (grid.sectors, grid.bins) == (15, 30)
    assert grid.bin_mm * grid.bins >= 60.0
    pixels = grid.total(np.ones(len(grid.place)))
    assert pixels.sum() == 60 * 120
    assert pixels.min() > 0


def test_a_value_comes_back_at_its_place():
    grid = front_grid(EDGE)
    wet = np.zeros((60, 120), bool)
    wet[:, :40] = True
    mean = grid.total(grid.sampled(wet).astype(float)) / grid.total(np.ones(len(grid.place)))
    back = grid.on_canvas(mean > 0.5, (60, 120))
    assert np.abs(back.sum(axis=1) - 40).max() <= 4


def test_a_large_canvas_is_looked_at_at_every_second_pixel():
    grid = front_grid(FeedOnCanvas(Feed(), (251, 401), 1.0))
    assert grid.step_px == 2
    assert grid.on_canvas(np.ones((grid.sectors, grid.bins), bool), (251, 401)).all()


def test_sectors_go_round_a_point_feed():
    feed = FeedOnCanvas(Feed((30.0, 15.0), 2.0, True), (60, 120), 0.5)
    grid = front_grid(feed)
    sector = (grid.place // grid.bins).reshape(60, 120)
    assert sector[30, 119] != sector[30, 0] != sector[0, 60] != sector[59, 60]
    assert len(np.unique(sector)) == grid.sectors
