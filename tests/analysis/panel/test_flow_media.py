from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.panel.flow_media import (
    Layer,
    lead_length,
    lumped,
    media_permeability,
    tool_lag_m,
)
from analysis.panel.records import Media, Stack


def test_lumped_stack():
    # Worked out from layers in parallel: Ke 1.325e-9, porosity 0.575, 1 m in 456.80 s.
    both = lumped([Layer(1e-3, 5e-9, 0.8), Layer(3e-3, 1e-10, 0.5)])
    assert both.k_m2 == pytest.approx(1.325e-9)
    assert both.porosity == pytest.approx(0.575)
    assert both.porosity * 0.2 / (2 * both.k_m2 * 95_000) == pytest.approx(456.80, abs=0.01)


def test_media_from_two_panels_undoes_the_lumping():
    media, stack = Layer(1e-3, 5e-9, 0.8), Layer(3e-3, 1e-10, 0.5)
    found = media_permeability(lumped([media, stack]).k_m2, media, stack)
    assert found == pytest.approx(5e-9)


def test_media_that_slows_the_stack_is_a_mix_up():
    with pytest.raises(ValueError, match="check which is which"):
        media_permeability(1e-11, Layer(1e-3, 0.0, 0.8), Layer(3e-3, 1e-10, 0.5))


@pytest.mark.parametrize(
    ("k1", "h2", "kz", "full", "without_own_pores"),
    [
        (5e-9, 3e-3, 1e-12, 0.13416, 0.30000),
        (5e-9, 6e-3, 1e-12, 0.23367, 0.42426),
        (2e-9, 3e-3, 5e-12, 0.03795, 0.08485),
    ],
)
def test_lead_of_the_media_front(k1, h2, kz, full, without_own_pores):
    # Worked out independently by integrating the travelling zone (ODE).
    assert lead_length(Layer(1e-3, k1, 0.8), h2, 0.5, kz) == pytest.approx(full, abs=6e-6)
    bare = lead_length(Layer(1e-3, k1, 1e-12), h2, 0.5, kz)
    assert bare == pytest.approx(without_own_pores, abs=2e-5)


def test_lead_against_the_travelling_zone_by_ode():
    """March back from the tip of the media front until the soak reaches the tool.

    In the frame of the front at speed U: media flux q = U (p1 h1 + p2 s) with soaked depth s,
    pressure p rises by q mu / (K1 h1) per metre, and U s' = Kz p / (p2 mu s).
    """
    h1, k1, p1, h2, kz, p2 = 1e-3, 5e-9, 0.8, 3e-3, 1e-12, 0.5

    # With p in units of U mu: p' = (p1 h1 + p2 s) / (K1 h1) and (s^2)' = 2 Kz p / p2.
    def rates(_, y):
        depth = np.sqrt(max(y[1], 0.0))
        return [(p1 * h1 + p2 * depth) / (k1 * h1), 2 * kz * y[0] / p2]

    def soaked(_, y):
        return y[1] - h2**2

    soaked.terminal = True
    run = solve_ivp(rates, (0, 1), [0.0, 0.0], events=soaked, rtol=1e-10, atol=1e-16, max_step=1e-3)
    assert run.t_events[0][0] == pytest.approx(lead_length(Layer(h1, k1, p1), h2, p2, kz), rel=1e-5)


def test_without_the_medias_own_permeability_its_lag_is_bounded_from_above():
    # All of the flow in the media: K1 = K (h1 + h2) / h1.
    stack = Stack(0.5, thickness_m=0.003, media=Media(0.001, 0.8), kz_m2=1e-12)
    known = replace(stack, media=replace(stack.media, k_m2=5e-9))
    assert tool_lag_m(stack, 1.25e-9) == pytest.approx(tool_lag_m(known, None))
    assert tool_lag_m(known, None) == pytest.approx(0.13416, abs=1e-5)
    assert tool_lag_m(stack, None) is None
    assert tool_lag_m(replace(stack, media=None), 1e-10) == 0.0
