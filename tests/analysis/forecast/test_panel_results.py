import json
from dataclasses import replace

import numpy as np
import pytest

from analysis.fit.front_laws import point_law
from analysis.forecast.panel_results import answer, plain_lines
from analysis.panel.records import Log, Media, Part, Resin, Stack, Vacuum
from tests.made_up.curves import edge_front_mm, make_curve, make_front, make_panel, make_scale
from vision.records import DrySpot

TIMES = np.linspace(20.0, 1500.0, 40)


def results(panel=None, front=None, x=None):
    noise = np.random.default_rng(3).normal(0, 0.3, len(TIMES))
    x = edge_front_mm(TIMES) + noise if x is None else x
    return answer(
        panel or make_panel(), make_curve(TIMES, x, 0.3), front or make_front(), make_scale()
    )


def resin(gel_min):
    return Resin(viscosity_pa_s=0.2, gel_time_s=gel_min * 60.0)


# 600 mm takes 1895 s = 31.6 min in the reference case; working time is 70 % of gel.
@pytest.mark.parametrize(
    ("gel_min", "verdict"),
    [(60.0, "fills"), (45.0, "tight"), (35.0, "tight"), (28.0, "gels first")],
)
def test_verdict_follows_gel_time(gel_min, verdict):
    found = results(make_panel(resin=resin(gel_min)))
    assert found["verdict"]["verdict"] == verdict
    assert found["verdict"]["reason"]
    assert found["gel"]["gel_time_s"] == gel_min * 60.0
    assert found["gel"]["working_time_s"] == pytest.approx(0.7 * gel_min * 60.0)
    assert found["gel"]["margin"] == pytest.approx(
        found["gel"]["working_time_s"] / found["fill"]["time_s"]
    )
    assert found["gel"]["margin_low"] < found["gel"]["margin"] < found["gel"]["margin_high"]


def test_results_are_plain_json_with_the_agreed_keys():
    found = json.loads(json.dumps(results()))
    for section, keys in {
        "front": "frames frames_used resin_start length_reached_mm filled stalled_at_mm "
        "race_tracking_mm dry_spots warnings",
        "scale": "method mm_per_px error_mm",
        "permeability": "model k_m2 k_low_m2 k_high_m2 k1_m2 k2_m2 angle_deg",
        "fill": "flow_length_mm time_s time_low_s time_high_s longest_run_mm",
        "gel": "gel_time_s working_time_s margin",
        "verdict": "verdict reason",
    }.items():
        assert set(keys.split()) <= set(found[section])


@pytest.mark.parametrize(
    ("front", "says"),
    [
        (make_front(race_tracking_mm=120.0), "raced 120 mm ahead"),
        (make_front(stalled_at_mm=400.0, stalled_at_s=1200.0), "stalled at 400 mm"),
        (make_front(dry_spots=(DrySpot(300.0, 100.0, 9000.0),)), "90 cm2 stayed dry"),
    ],
)
def test_an_unfair_test_is_called_so_and_still_shows_its_numbers(front, says):
    found = results(front=front)
    assert found["verdict"]["verdict"] == "unfair test"
    assert says in found["verdict"]["reason"]
    assert found["permeability"]["k_m2"] == pytest.approx(1e-10, rel=0.03)


def test_a_sagging_vacuum_is_no_fair_test():
    log = Log(np.array([0.0, 700.0, 1500.0]), np.array([95_000.0, 80_000.0, 60_000.0]))
    found = results(make_panel(vacuum=Vacuum(80_000.0, log=log)))
    assert found["verdict"]["verdict"] == "unfair test"
    assert "sagged" in found["verdict"]["reason"]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"resin": Resin(viscosity_pa_s=0.2)}, "gel_time_min"),
        ({"part": None}, "flow_length_mm"),
        ({"resin": Resin(viscosity_pa_s=0.2, gel_time_s=15.0)}, "before the first frame"),
    ],
)
def test_cannot_decide_says_why_and_keeps_permeability(changes, says):
    found = results(make_panel(**changes))
    assert found["verdict"]["verdict"] == "cannot decide"
    assert says in found["verdict"]["reason"]
    assert found["permeability"]["k_m2"] == pytest.approx(1e-10, rel=0.03)


def test_no_front_gives_nulls_and_the_trackers_reason():
    found = results(front=make_front(usable=False, reason="no front seen: the lens is covered"))
    assert found["verdict"] == {
        "verdict": "cannot decide",
        "reason": "no front seen: the lens is covered",
    }
    assert found["permeability"]["k_m2"] is None
    assert found["fill"]["time_s"] is None


def test_a_falling_front_is_told_in_words():
    found = results(x=edge_front_mm(TIMES)[::-1])
    assert "falls back" in found["verdict"]["reason"]


def test_a_front_that_moves_after_gel_is_questioned():
    found = results(make_panel(resin=resin(20.0)))
    assert any("after the gel time" in text for text in found["warnings"])


def test_lines_for_the_screen():
    lines = plain_lines(results())
    assert 8 <= len(lines) <= 20
    text = "\n".join(lines)
    assert "FILLS" in text
    assert "600 mm in 3" in text
    assert "m2 (95 %:" in text


def test_many_warnings_still_fit_the_screen():
    front = make_front(warnings=tuple(f"trouble {i}" for i in range(40)))
    lines = plain_lines(results(front=front))
    assert len(lines) <= 20
    assert any("more in results.json" in line for line in lines)


def test_a_point_feed_gives_both_axes():
    k1, k2, r0 = 3.1e-11, 1.7e-11, 0.006
    k, theta = np.sqrt(k1 * k2), 91_000.0 / 0.12 * TIMES
    r = point_law(r0).front(4 * k / 0.49 * theta) * 1000
    grow = (k1 / k2) ** 0.25
    noise = np.random.default_rng(2).normal(0, 0.2, (2, len(TIMES)))
    curve = make_curve(
        TIMES,
        r + noise[0],
        0.3,
        flow="point",
        semi_major_mm=r * grow + noise[1],
        semi_minor_mm=r / grow - noise[1],
        angle_deg=np.full(len(TIMES), -35.0),
    )
    panel = make_panel(
        flow="point", feed_radius_m=r0, part=Part(0.3, "point"), vacuum=Vacuum(91_000.0)
    )
    panel = replace(panel, stack=replace(panel.stack, porosity=0.49), resin=resin(600.0))
    panel = replace(panel, resin=replace(panel.resin, viscosity_pa_s=0.12))
    found = answer(panel, curve, make_front(), make_scale())["permeability"]
    assert found["k1_m2"] == pytest.approx(k1, rel=0.03)
    assert found["k2_m2"] == pytest.approx(k2, rel=0.03)
    assert found["k1_low_m2"] < k1 < found["k1_high_m2"]
    assert found["angle_deg"] == pytest.approx(-35.0, abs=0.5)


def test_a_part_packed_tighter_is_slower_by_kozeny():
    # K(0.5) / K(0.6) = 2.8125 and x^2 ~ K / porosity: 2.25 times as slow (Kozeny's form).
    loose, tight = results(), results(make_panel(part=Part(0.6, fibre_fraction=0.6)))
    assert tight["fill"]["time_s"] / loose["fill"]["time_s"] == pytest.approx(2.8125 * 0.4 / 0.5)
    assert any("Kozeny" in text for text in tight["warnings"])
    assert tight["permeability"]["k_m2"] == loose["permeability"]["k_m2"]


def test_a_front_that_slows_without_need_is_no_fair_test():
    times = np.linspace(20.0, 1500.0, 60)
    driven = np.minimum(times, 900.0) + 100.0 * -np.expm1(-np.maximum(times - 900, 0) / 100.0)
    x = edge_front_mm(driven) + np.random.default_rng(6).normal(0, 0.5, len(times))
    found = answer(make_panel(), make_curve(times, x, 0.5), make_front(), make_scale())
    assert found["verdict"]["verdict"] == "unfair test"
    assert "slowed from 1" in found["verdict"]["reason"]


def test_never_is_said_in_words():
    growth = np.log(2) / 900.0
    x = edge_front_mm(-np.expm1(-growth * TIMES) / growth)
    stiff = Resin(viscosity_pa_s=0.2, viscosity_growth_per_s=growth, gel_time_s=3600.0)
    found = results(make_panel(resin=stiff), x=x)
    assert found["verdict"]["verdict"] == "gels first"
    assert found["fill"]["time_s"] is None
    assert found["fill"]["never"] is True
    assert found["gel"]["margin"] == 0.0
    assert any("600 mm never: the resin stiffens first" in line for line in plain_lines(found))


def test_a_compaction_law_gives_the_stacks_own_permeability_too():
    # A bag that gives makes the rigid formula read s times K of the packed stack.
    found = results(make_panel(stack=Stack(0.5, compaction_exponent=0.06)))["permeability"]
    assert found["bag_factor"] == pytest.approx(1.29, abs=0.05)
    assert found["k_at_fibre_fraction_m2"] * found["bag_factor"] == pytest.approx(found["k_m2"])
    assert results()["permeability"]["bag_factor"] is None


def test_media_counts_in_the_porosity_of_the_whole():
    # 1 mm of porosity 0.8 over 3 mm of 0.5 is 0.575 in all (weighted by thickness).
    stack = Stack(0.5, thickness_m=0.003, media=Media(0.001, 0.8))
    ratio = results(make_panel(stack=stack))["permeability"]["k_m2"]
    assert ratio / results()["permeability"]["k_m2"] == pytest.approx(0.575 / 0.5)
