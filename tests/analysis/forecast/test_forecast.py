import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from scipy.integrate import solve_ivp

from analysis.forecast.forecast import forecast, forecast_json, forecast_lines, read_media_facts
from analysis.forecast.what_if import Change, outcome
from analysis.panel.records import Part, Resin, Stack, Vacuum
from analysis.record.changes_figure import write_changes_figure
from tests.made_up.curves import (
    D_M2_S,
    edge_front_mm,
    make_curve,
    make_front,
    make_panel,
    make_tracked,
)
from vision.common.atomic_files import write_json
from vision.errors import WetlineError

TIMES = np.linspace(20.0, 1500.0, 30)
RESIN = Resin(
    viscosity_pa_s=0.2,
    viscosity_temperature_c=20.0,
    viscosity_second=(0.11, 30.0),
    gel_time_s=3600.0,
    gel_second=(1700.0, 30.0),
    gel_temperature_c=20.0,
    temperature_c=20.0,
)


def made(length_m=1.0, feed_length_m=0.0, media=None, **changes):
    panel = make_panel(**({"resin": RESIN, "part": Part(length_m)} | changes))
    x = edge_front_mm(TIMES, feed_length_m=feed_length_m)
    x = x + np.random.default_rng(1).normal(0, 0.3, len(TIMES))
    curve = make_curve(TIMES, x, 0.3)
    return forecast(panel, make_tracked(curve), media)


def change_of(found, name):
    return next(item for item in found.changes if item.name == name)


def test_each_change_that_is_enough_really_is():
    found = made()
    changes = {
        "slower hardener": lambda v: Change(cure=v / 60.0),
        "flow media": lambda v: Change(speed=v),
        "shorter run": lambda v: Change(length=v / 1000.0),
        "more feed lines": lambda v: Change(length=v / 2000.0, feeds=2.0),
        "feed from the middle": lambda v: Change(length=v / 1000.0, feeds=2.0),
    }
    for name, change in changes.items():
        item = change_of(found, name)
        assert item.enough
        assert outcome(found.case, change(item.needed)).room >= -1e-3
        if name != "feed from the middle":
            far = 0.9 if name in ("slower hardener", "flow media") else 1.1
            assert outcome(found.case, change(item.needed * far)).room < 0.0


def test_changes_agree_with_closed_forms():
    # 1 m at D = 1.9e-4 m2/s takes 5263 s against 2520 s of working time (reference case).
    found = made()
    assert change_of(found, "flow media").likely == pytest.approx(1 / D_M2_S / 2520, rel=0.02)
    assert change_of(found, "slower hardener").likely == pytest.approx(
        1 / D_M2_S / 0.7 / 60, rel=0.02
    )
    assert change_of(found, "shorter run").likely == pytest.approx(
        np.sqrt(D_M2_S * 2520) * 1000, rel=0.02
    )
    assert change_of(found, "feed from the middle").outcome.time_s == pytest.approx(
        0.25 / D_M2_S, rel=0.02
    )


def test_changes_that_are_enough_come_first():
    flags = [item.enough for item in made().changes]
    assert flags == sorted(flags, reverse=True)
    assert False in flags


def test_a_feed_line_in_the_middle_has_its_resistance_twice():
    # Each side gets half the line: x^2 + 2 (2 a) x = D t.
    found = made(feed_length_m=0.05)
    expected = (0.5**2 + 4 * 0.05 * 0.5) / D_M2_S
    assert change_of(found, "feed from the middle").outcome.time_s == pytest.approx(
        expected, rel=0.04
    )


def test_temperature_optimum_lies_where_thinning_and_gelling_balance():
    # Viscosity with 44 kJ/mol, gel with 55 kJ/mol: colder is better, to the end of the range.
    item = change_of(made(), "temperature")
    assert not item.enough
    assert "best is 15 C" in item.words
    thin = replace(RESIN, viscosity_second=(0.06, 30.0))
    assert "best is 40 C" in change_of(made(resin=thin), "temperature").words
    assert not any(
        i.name == "temperature" for i in made(resin=replace(RESIN, temperature_c=None)).changes
    )


def test_warming_a_thickening_resin_against_an_ode():
    growth = np.log(2) / 2400.0
    resin = replace(RESIN, viscosity_growth_per_s=growth)
    found = made(0.6, resin=resin)
    warm = outcome(found.case, Change(temperature_c=30.0))
    slope, cure = found.case.fit.slope, 1700.0 / 3600.0

    def speed(t, x):
        return 0.5 * slope * 95_000 / (0.11 * np.exp(growth / cure * t)) / x

    def full(t, x):
        return x[0] - np.sqrt(0.36 + 2 * found.case.fit.feed_length_m * 0.6)

    full.terminal = True
    run = solve_ivp(speed, (0, 1e5), [1e-4], events=full, rtol=1e-9, atol=1e-12)
    assert warm.time_s == pytest.approx(run.t_events[0][0], rel=1e-3)
    assert warm.margin == pytest.approx(0.7 * 1700.0 / warm.time_s, rel=1e-6)


def test_vacuum_cannot_go_past_the_atmosphere():
    item = change_of(made(vacuum=Vacuum(95_000.0)), "better vacuum")
    assert not item.enough
    assert "1003 mbar" in item.words
    weak = make_panel().vacuum
    enough = change_of(made(0.72, vacuum=replace(weak, pressure_pa=95_000.0)), "better vacuum")
    assert enough.needed is None or enough.needed <= 1013.25


def test_a_soft_stack_gains_less_from_vacuum():
    stiff = made(vacuum=Vacuum(70_000.0))
    soft = made(vacuum=Vacuum(70_000.0), stack=Stack(0.5, compaction_exponent=0.06))
    more = Change(drive=1.3)
    assert outcome(stiff.case, more).time_s < outcome(soft.case, more).time_s


def test_no_change_goes_past_what_is_sold_or_can_be_done():
    # 6 m takes 36 times the 1 m: no resin gels that late, no media are that fast.
    found = made(6.0)
    assert not change_of(found, "slower hardener").enough
    assert "about the slowest sold" in change_of(found, "slower hardener").words
    assert not change_of(found, "flow media").enough
    for name, unit_per_factor, most in (
        ("slower hardener", 60.0, 180.0),
        ("flow media", 1.0, 10.0),
    ):
        item = change_of(made(1.5), name)
        assert item.needed is None or item.needed <= most + 1e-9
        furthest = item.furthest.cure * item.furthest.speed * unit_per_factor
        assert furthest == pytest.approx(most)
    assert change_of(found, "shorter run").furthest.length == pytest.approx(0.1 / 6.0)


def test_none_is_enough_is_said_and_two_together_are_named():
    # Short panels leave few ways out: no lines closer than 200 mm, no gel later than 3 times.
    hasty = replace(RESIN, gel_time_s=60.0, gel_second=None)
    found = made(0.3, resin=hasty)
    assert not any(item.enough for item in found.changes)
    assert found.together is not None
    text = "\n".join(forecast_lines(found))
    assert "NONE OF THESE IS ENOUGH ALONE" in text
    assert f"{found.together[0]} and {found.together[1]}" in text
    assert forecast_json(found)["enough_together"] == list(found.together)
    worse = made(0.3, resin=replace(hasty, gel_time_s=3.0))
    assert "No two together are enough" in "\n".join(forecast_lines(worse))


def test_the_doubt_of_the_gel_time_asks_for_more():
    sure, vague = (made(resin=replace(RESIN, gel_sd=sd)) for sd in (0.0, 0.35))
    needs = [change_of(found, "slower hardener").needed for found in (sure, vague)]
    # 36 min of gel time stand for 0.7 x gel; with sd 0.35 gel itself is the tighter limit.
    assert needs[1] > 1.2 * needs[0]
    assert sure.case.gel.relative_sd == 0.0
    wide, narrow = (outcome(found.case, Change()) for found in (vague, sure))
    assert wide.margin_low < narrow.margin_low
    assert wide.margin_high > narrow.margin_high


def test_what_fits_is_not_called_fine_after_an_unfair_test():
    times = np.linspace(20.0, 1500.0, 30)
    tracked = make_tracked(
        make_curve(times, edge_front_mm(times)), make_front(race_tracking_mm=200)
    )
    found = forecast(make_panel(resin=RESIN, part=Part(0.4)), tracked)
    text = "\n".join(forecast_lines(found))
    assert "NOT A FAIR TEST" in text
    assert "It fits as it is" not in text


MEDIA_PANEL = """
[panel]
length_mm = 600
[stack]
porosity = 0.5
thickness_mm = 3
media_thickness_mm = 1
media_porosity = 0.8
kz_m2 = 1e-12
"""


def test_measured_media(tmp_path):
    # Layers in parallel: 1 mm of 5e-9 m2 over 3 mm of 1e-10 m2 is 1.325e-9 m2 in all, porosity
    # 0.575; lead 134 mm by the closed form (worked out independently).
    (tmp_path / "panel.toml").write_text(MEDIA_PANEL)
    write_json(tmp_path / "results" / "results.json", {"permeability": {"k_m2": 1.325e-9}})
    plain = make_panel(stack=Stack(0.5, thickness_m=0.003))
    facts = read_media_facts(tmp_path, plain, 1e-10)
    assert facts.ratio == pytest.approx(13.25 * 0.5 / 0.575)
    assert facts.k_m2 == pytest.approx(5e-9)
    assert facts.lead_m == pytest.approx(0.13416, abs=1e-5)
    found = made(media=facts)
    item = change_of(found, "flow media")
    assert item.enough
    assert item.outcome.time_s == pytest.approx(1.13416**2 / D_M2_S / facts.ratio, rel=0.02)
    assert "134 mm ahead" in "\n".join(forecast_lines(found))
    assert forecast_json(found)["media"]["k_m2"] == pytest.approx(5e-9)


def test_media_without_results_or_slower_than_the_stack(tmp_path):
    (tmp_path / "panel.toml").write_text(MEDIA_PANEL)
    write_json(tmp_path / "results" / "results.json", {"permeability": {"k_m2": 1e-12}})
    with pytest.raises(WetlineError, match="slower than the stack"):
        read_media_facts(tmp_path, make_panel(), 1e-10)
    with pytest.raises(WetlineError, match="no permeability to compare"):
        read_media_facts(tmp_path, make_panel(), None)


def test_json_and_lines():
    found = made()
    document = json.loads(json.dumps(forecast_json(found)))
    assert {"name", "enough", "needed", "unit", "margin", "cost"} <= set(document["levers"][0])
    text = "\n".join(forecast_lines(found))
    assert "print through" in text
    assert "surface finish" in text
    assert "effective one under this bag" in text
    assert "advice with an interval" in text


def test_a_plan_that_fits_shows_the_room_to_spare():
    text = "\n".join(forecast_lines(made(0.4)))
    assert "often gives a better surface" in text
    assert "gel time could be as short as" in text


def test_without_gel_time_there_is_no_what_if():
    found = made(resin=Resin(viscosity_pa_s=0.2))
    assert found.changes == ()
    assert "gel_time_min" in found.reason
    assert "No what-if" in "\n".join(forecast_lines(found))


def test_the_plot_is_a_readable_picture(tmp_path):
    path = tmp_path / "levers.png"
    write_changes_figure(path, made().case)
    with Image.open(path) as picture:
        assert picture.size == (1350, 810)
        colours = picture.convert("RGB").getcolors(100_000)
    assert len(colours) > 50
