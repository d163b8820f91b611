"""Tensors and links."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.grid.cells import clip_share, lay_grid
from analysis.part.grid.network import (
    assemble,
    laplacian,
    permeability_tensor,
    split_tensor,
    unreached,
)
from analysis.part.plan.outline import rectangle


@pytest.mark.parametrize("ratio", [1.0, 3.0, 40.0, 1000.0])
@pytest.mark.parametrize("angle", [0.0, 17.0, 45.0, 88.0, 133.0])
def test_tensor_is_split_into_positive_links(ratio, angle):
    tensor = permeability_tensor(ratio, 1.0, angle)
    links = split_tensor(tensor)
    assert len(links) <= 3
    assert all(weight > 0 for _, weight in links)
    again = sum(weight * np.outer(e, e) for e, weight in links)
    assert_allclose(again, tensor, rtol=1e-9, atol=1e-8 * ratio)


def test_links_hold_a_linear_field_in_balance():
    # No source: div(K grad u) = 0 for linear u, away from walls, at any angle.
    outline = rectangle(300, 200)
    grid = lay_grid(outline, 30)
    shares = clip_share(outline, [], grid)
    tensor = permeability_tensor(5.0, 1.0, 33.0)
    stack = np.zeros(grid.shape, int)
    links = assemble(grid, shares, stack, [tensor], np.ones(grid.shape), [outline])
    u = links.centre_mm @ (0.3, -0.7)
    out = links.field(laplacian(links) @ u)
    assert np.abs(out[3:-3, 3:-3]).max() < 1e-9 * np.abs(out).max() + 1e-12


def test_every_cell_has_a_way_in_even_in_a_very_uneven_stack():
    outline = rectangle(500, 300)
    grid = lay_grid(outline, 60)
    shares = clip_share(outline, [], grid)
    tensor = permeability_tensor(100.0, 1.0, 30.0)
    stack, pore = np.zeros(grid.shape, int), np.ones(grid.shape)
    links = assemble(grid, shares, stack, [tensor], pore, [outline])
    reached = ~unreached(laplacian(links), (np.arange(links.count) == 0).astype(float))
    assert reached.all()
