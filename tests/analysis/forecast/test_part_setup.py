"""What differs between panel and part, and what that does to the fill time."""

import numpy as np
import pytest

from analysis.forecast.panel_answer import answer
from analysis.forecast.part_setup import (
    UNSTATED_FEED,
    assumptions,
    carried_impulse,
    part_gel_time,
    part_setup,
)
from analysis.panel.panel_toml import read_panel
from analysis.panel.records import Log, Part, Resin, Vacuum
from tests.made_up.curves import edge_front_mm, make_curve, make_front, make_panel, make_scale
from vision.errors import WetlineError
from vision.records import Tracked

TIMES = np.linspace(20.0, 1500.0, 30)
RESIN = Resin(viscosity_pa_s=0.2, gel_time_s=3600.0, temperature_c=22.0)


def told(feed_m=0.05, resin=RESIN, **part):
    noise = np.random.default_rng(3).normal(0, 0.3, len(TIMES))
    curve = make_curve(TIMES, edge_front_mm(TIMES, feed_length_m=feed_m) + noise, 0.3)
    panel = make_panel(resin=resin, part=Part(0.6, **part))
    return answer(Tracked(None, curve, make_front(), make_scale()), panel)


def widths(found):
    fill = found.fill
    return np.log(fill.time_high_s / fill.time_low_s)


def test_a_feed_line_that_is_not_stated_widens_the_forecast_both_ways():
    same, unstated = told(feed_line="same", repeat_sd=0.02), told(repeat_sd=0.02)
    assert unstated.fill.time_s == same.fill.time_s
    assert unstated.fill.time_low_s < same.fill.time_low_s
    assert unstated.fill.time_high_s > same.fill.time_high_s
    # With no resistance the same stack fills as L^2 porosity mu / (2 K dP): Darcy's law.
    bare_s = 0.6**2 / 1.9e-4
    assert unstated.fill.time_low_s < bare_s < unstated.fill.time_high_s
    assert not same.fill.time_low_s < bare_s < same.fill.time_high_s


def test_no_resistance_is_forecast_without_it():
    fill = told(feed_line="none").fill
    assert fill.time_s == pytest.approx(0.6**2 / 1.9e-4, rel=0.03)
    assert fill.time_low_s < 0.6**2 / 1.9e-4 < fill.time_high_s
    assert fill.longest_run_m == pytest.approx(np.sqrt(1.9e-4 * 0.7 * 3600.0), rel=0.03)


def test_another_feed_line_may_resist_though_the_panel_s_did_not():
    same, other = told(0.0, feed_line="same"), told(0.0, feed_line="other")
    assert widths(other) > 1.05 * widths(same)
    # 40 mm more: L^2 + 2 a L.
    slow_s = (0.6**2 + 2 * 0.04 * 0.6) / 1.9e-4
    assert other.fill.time_high_s > slow_s > same.fill.time_s


def test_the_guesses_of_a_feed_line_run_from_none_to_twice():
    assert sum(line.weight for line in UNSTATED_FEED) == pytest.approx(1.0)
    assert (UNSTATED_FEED[0].share, UNSTATED_FEED[-1].share) == (0.0, 2.0)


def test_a_new_batch_adds_its_scatter():
    same, new = told(feed_line="same"), told(feed_line="same", resin_batch="new", batch_sd=0.2)
    assert new.fill.time_s == same.fill.time_s
    assert widths(new) == pytest.approx(np.hypot(widths(same), 2 * 1.96 * 0.2), rel=0.02)


def test_a_colder_shop_fills_later_and_gels_later():
    warm, cold = told(feed_line="same"), told(feed_line="same", temperature_c=12.0)
    # Arrhenius' law at 50 kJ/mol from 22 to 12 C: viscosity x 2.044; gel doubles for 10 C.
    factor = np.exp(50_000 / 8.314462618 * (1 / 285.15 - 1 / 295.15))
    assert cold.fill.time_s / warm.fill.time_s == pytest.approx(factor, rel=1e-6)
    assert cold.gel.gel_time_s == pytest.approx(2 * warm.gel.gel_time_s)
    assert widths(cold) > np.hypot(widths(warm), 2 * 1.96 * 0.17)


def test_how_sure_the_temperature_is_counts():
    sure, unsure = (told(temperature_c=22.0, temperature_sd_c=sd) for sd in (0.0, 3.0))
    # 50 kJ/mol at 22 C: 6.9 % for each degree.
    per_degree = 50_000 / 8.314462618 / 295.15**2
    added = np.sqrt(widths(unsure) ** 2 - widths(sure) ** 2) / (2 * 1.96)
    assert added == pytest.approx(3.0 * per_degree, rel=0.05)


def test_a_thickening_resin_thickens_later_in_the_cold():
    resin = Resin(viscosity_log=Log(np.array([0.0, 600.0]), np.array([0.2, 0.4])),
                  gel_time_s=3600.0, temperature_c=20.0)  # fmt: skip
    panel = make_panel(resin=resin, vacuum=Vacuum(95_000.0))
    cold = carried_impulse(panel, 10.0)
    assert cold.knot_s[-1] == pytest.approx(1200.0)
    assert cold.viscosity_pa_s[-1] / cold.viscosity_pa_s[0] == pytest.approx(2.0)
    growing = make_panel(resin=Resin(viscosity_pa_s=0.2, viscosity_growth_per_s=1e-3,
                                     gel_time_s=3600.0, temperature_c=20.0))  # fmt: skip
    assert carried_impulse(growing, 10.0).growth_per_s[0] == pytest.approx(0.5e-3)


def test_without_pressure_or_viscosity_the_plain_time_drives():
    panel = make_panel(vacuum=Vacuum())
    assert float(carried_impulse(panel).at(10.0)) == pytest.approx(10.0)


def test_gel_time_is_that_of_the_part():
    panel = make_panel(resin=RESIN, part=Part(0.6, temperature_c=32.0))
    assert part_gel_time(panel).gel_s == pytest.approx(1800.0)
    assert part_gel_time(make_panel(resin=RESIN, part=None)).gel_s == 3600.0
    assert part_setup(make_panel(part=None), 0.1).viscosity_sd == 0.0


@pytest.mark.parametrize(
    ("part", "says"),
    [
        ({}, "may hold back nothing, or twice the panel's"),
        ({"feed_line": "same"}, "as much as the panel's did"),
        ({"feed_line": "none"}, "holds nothing back"),
        ({"feed_line": "other"}, "another feed line"),
        ({"resin_batch": "new"}, "a new batch"),
        ({"temperature_c": 15.0}, "at 15 C"),
        ({"repeat_sd": 0.05}, "5 %"),
    ],
)
def test_what_is_taken_for_granted_is_said(part, says):
    panel = make_panel(resin=RESIN, part=Part(0.6, **part))
    assert says in "; ".join(assumptions(panel, 0.05))


def write(folder, part, resin="temperature_c = 22\n"):
    (folder / "panel.toml").write_text(
        '[panel]\nname = "cover"\nlength_mm = 400\nwidth_mm = 200\n[resin]\n'
        f"viscosity_mpas = 200\n{resin}[part]\nflow_length_mm = 800\n{part}"
    )
    return folder


def test_the_fields_of_the_part_are_read(tmp_path):
    text = (
        'feed_line = "other"\nresin_batch = "new"\nbatch_sd_percent = 10\ntemperature_c = 15\n'
        "temperature_sd_c = 2\n"
    )
    part = read_panel(write(tmp_path, text)).part
    assert (part.feed_line, part.resin_batch) == ("other", "new")
    assert (part.batch_sd, part.temperature_c, part.temperature_sd_c) == (0.1, 15.0, 2.0)


def test_a_temperature_of_the_part_needs_that_of_the_panel(tmp_path):
    with pytest.raises(WetlineError, match=r"add \[resin\] temperature_c"):
        read_panel(write(tmp_path, "temperature_c = 15\n", resin=""))


def test_a_better_vacuum_multiplies_a_log_too():
    log = Log(np.array([0.0, 600.0]), np.array([90_000.0, 80_000.0]))
    panel = make_panel(vacuum=Vacuum(85_000.0, log=log))
    better = carried_impulse(panel, drive=1.1)
    assert better.pressure_pa == pytest.approx([99_000.0, 88_000.0])
    assert float(better.at(500.0)) == pytest.approx(1.1 * float(carried_impulse(panel).at(500.0)))
    slower = carried_impulse(make_panel(resin=Resin(
        viscosity_log=Log(np.array([0.0, 300.0]), np.array([0.2, 0.4])))), cure=2.0)  # fmt: skip
    assert slower.knot_s[-1] == 600.0


@pytest.mark.parametrize(
    ("resin", "part", "warmth"),
    [
        (Resin(), {}, "as warm as on the panel"),
        (RESIN, {}, "at 22 C as on the panel"),
        (RESIN, {"temperature_c": 15.0}, "at 15 C"),
    ],
)
def test_how_warm_the_part_is_taken_to_be(resin, part, warmth):
    panel = make_panel(resin=resin, part=Part(0.6, **part))
    assert assumptions(panel, 0.0)[1] == f"the same batch of resin, {warmth}"
    assert assumptions(make_panel(part=None), 0.0) == ()


def test_a_slower_hardener_and_the_cold_both_count():
    resin = Resin(viscosity_log=Log(np.array([0.0, 600.0]), np.array([0.2, 0.4])),
                  gel_time_s=3600.0, temperature_c=20.0)  # fmt: skip
    # Ten degrees colder doubles the gel time; a hardener half as fast doubles it again.
    assert carried_impulse(make_panel(resin=resin), 10.0, cure=2.0).knot_s[-1] == 2400.0


def test_a_logged_viscosity_thins_with_warmth_and_thickens_sooner():
    # Stated at two temperatures, so the factor is that of the two values: a half at 10 C more.
    logged = Resin(
        viscosity_log=Log(np.array([0.0, 3600.0]), np.array([0.2, 0.4])),
        viscosity_pa_s=0.2,
        temperature_c=20.0,
        viscosity_second=(0.1, 30.0),
        gel_time_s=7200.0,
    )
    panel = make_panel(resin=logged)
    plain, warm = carried_impulse(panel), carried_impulse(panel, temperature_c=30.0)
    assert float(warm.rate(0.0)) == pytest.approx(2.0 * float(plain.rate(0.0)), rel=1e-6)
