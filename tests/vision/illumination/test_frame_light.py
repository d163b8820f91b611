import numpy as np
from numpy.testing import assert_allclose

from vision.illumination.frame_light import (
    TableLight,
    border_light,
    is_uneven,
    main_regions,
    sequential_light,
    table_light,
)
from vision.illumination.light_basis import (
    cell_centres,
    even_basis,
    polynomial_basis,
    uneven_basis,
)
from vision.settings.wetting_settings import LightSettings

LIGHT = LightSettings()
ROWS, COLS, COUNT = 12, 20, 15


def around():
    """Places on the table on all four sides of the panel."""
    along = np.linspace(-1.2, 1.2, 15)
    sides = np.array([(a, b) for a in along for b in (-1.2, 1.2)])
    return np.concatenate([sides, sides[:, ::-1]])


def drifting_light(seed=1):
    """One pattern of light that grows and wanes, so that its median is 0 at every place."""
    rng = np.random.default_rng(seed)
    strength = np.cumsum(rng.normal(0, 0.3, COUNT))
    strength -= np.median(strength)
    return strength[:, None, None] * rng.normal(0, 0.1, (6, 3))


def table_under(light, extra=0.0, seed=2):
    rng = np.random.default_rng(seed)
    border = 4.0 + polynomial_basis(*around().T) @ light + extra
    return table_light(border + rng.normal(0, 0.003, border.shape), around(), LIGHT)


def test_the_table_tells_the_light_of_the_panel():
    light = drifting_light()
    table, basis = table_under(light), even_basis(ROWS, COLS, LIGHT)
    found = border_light(table, basis)
    cells = polynomial_basis(*cell_centres(ROWS, COLS))
    assert np.abs(cells @ found - cells @ light).max() < 0.02
    assert not is_uneven(table, basis, found)


def test_a_shadow_on_the_table_is_more_than_a_quadratic():
    shadow = np.zeros((COUNT, len(around()), 1))
    for k in range(COUNT):
        shadow[k] = np.where(np.abs(around()[:, :1] + 0.8 - 0.1 * k) < 0.3, -0.4, 0.0)
    table, basis = table_under(drifting_light(), shadow), even_basis(ROWS, COLS, LIGHT)
    assert is_uneven(table, basis, border_light(table, basis))
    bumpy = uneven_basis(ROWS, COLS, LIGHT)
    shapes = bumpy(*table.places.T)
    left = np.abs(table.change - np.matmul(shapes, border_light(table, bumpy))).mean()
    even_left = np.abs(table.change - np.matmul(basis(*table.places.T), border_light(table, basis)))
    assert left < 0.7 * even_left.mean()


def test_places_far_away_or_seldom_seen_do_not_tell_the_light():
    border = np.full((COUNT, 3, 3), 4.0)
    border[:10, 1] = np.nan
    table = table_light(border, np.array([[1.1, 0.0], [1.2, 0.0], [5.0, 0.0]]), LIGHT)
    assert table.places.tolist() == [[1.1, 0.0]]


def test_without_a_table_the_light_is_followed_on_the_panel():
    light = drifting_light()
    cells = polynomial_basis(*cell_centres(ROWS, COLS))
    levels = 4.5 + cells @ light
    found = sequential_light(levels, cells)
    # Each step is drawn to an even light by a thousandth, and there are 14 of them.
    assert_allclose(cells @ (found - found[:1]), cells @ (light - light[:1]), atol=0.01)


def test_a_patch_apart_from_the_rest_does_not_tell_the_light():
    wet = np.zeros((10, 8, 12), bool)
    wet[:, :, :5] = True
    wet[:, 2:4, 9:11] = True
    main = main_regions(wet.reshape(10, -1), 8, 0.9).reshape(10, 8, 12)
    assert main[:, :, :9].all()
    assert not main[:, 2:4, 9:11].any()


def test_what_changes_for_good_place_by_place_is_no_lamp():
    # Liquid climbs past two thirds of the places, one after the other, while the lamp flickers.
    count, places = 30, 24
    lamp = np.random.default_rng(2).normal(0, 0.05, count)
    change = np.repeat(lamp[:, None, None], places, axis=1) * np.ones(3)
    for place in range(16):
        change[5 + place :, place] -= 0.6
    at = np.stack([np.linspace(-1.1, 1.1, places), np.full(places, 1.3)], axis=1)
    kept = TableLight(change, at).without_changed()
    assert kept.places.tolist() == at[16:].tolist()
    assert np.allclose(kept.change, change[:, 16:])


def test_a_lamp_switched_on_leaves_the_table_whole():
    change = np.zeros((20, 12, 3))
    change[8:] += 0.4
    at = np.zeros((12, 2))
    assert len(TableLight(change, at).without_changed().places) == 12
