"""part.toml: what it may say, and the one line for each thing it may not."""

from __future__ import annotations

import json

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.part.plan.part_toml import read_part, with_drive
from vision.errors import WetlineError
from vision.settings.settings_stamp import ANSWERED, settings_stamp

OUTLINE = "[outline]\nrectangle_mm = [1200, 400]\n"
STACK = "[stack]\nk_m2 = 1e-10\nporosity = 0.5\nthickness_mm = 3\n"
FEED = "[[feed]]\nline_mm = [[0, 0], [0, 400]]\n"
VENT = "[[vent]]\nline_mm = [[1200, 0], [1200, 400]]\n"
RESIN = "[resin]\nviscosity_mpas = 200\ngel_time_min = 60\n"
VACUUM = "[vacuum]\npressure_difference_mbar = 950\n"
GOOD = {
    "outline": OUTLINE,
    "stack": STACK,
    "feed": FEED,
    "vent": VENT,
    "resin": RESIN,
    "vacuum": VACUUM,
}
PANEL = (
    "[panel]\nname = 'p'\nlength_mm = 500\nwidth_mm = 200\n[stack]\nporosity = 0.55\n"
    "thickness_mm = 2.5\n[resin]\nviscosity_mpas = 180\ngel_time_min = 50\n"
    "[vacuum]\npressure_difference_mbar = 900\n"
)


def write(tmp_path, text="", **other):
    pieces = {**GOOD, **other}
    path = tmp_path / "part.toml"
    path.write_text("\n".join(piece for piece in pieces.values() if piece) + text, encoding="utf-8")
    return path


def make_panel(tmp_path, name="glass", permeability=None, **more):
    folder = tmp_path / name
    (folder / "results").mkdir(parents=True)
    (folder / "panel.toml").write_text(PANEL, encoding="utf-8")
    known = {"k_m2": 2e-10, "k_low_m2": 1.8e-10, "k_high_m2": 2.3e-10}
    record = {"permeability": known if permeability is None else permeability} | more
    (folder / "results" / "results.json").write_text(json.dumps(record), encoding="utf-8")
    return folder


def test_a_plain_part_is_read_in_si(tmp_path):
    job = read_part(write(tmp_path, "\n[grid]\ncells = 120\n"))
    plan = job.plan
    assert plan.cells == 120
    assert plan.stack.k1_m2 == plan.stack.k2_m2 == 1e-10
    assert (plan.stack.low, plan.stack.high) == (0.8, 1.2)
    assert_allclose(plan.outline_mm.max(axis=0), [1200, 400])
    assert_allclose(job.impulse.at(10.0), 10 * 95_000 / 0.2)
    assert any("without an interval" in note for note in plan.notes)
    assert plan.name == tmp_path.name
    assert read_part(tmp_path).plan.cells == 120  # the folder will do


def test_shapes_by_numbers(tmp_path):
    feed = "[[feed]]\npoint_mm = [50, 50]\nradius_mm = 5\n"
    vent = "[[vent]]\npoint_mm = [10, 10]\n"
    cases = {
        "disc_radius_mm = 150": np.pi * 150**2,
        "l_shape_mm = [400, 300, 200, 100]": 400 * 300 - 200 * 100,
        "points_mm = [[0, 0], [300, 0], [0, 300], [0, 0]]": 300 * 300 / 2,
        "points_mm = [[0, 0], [0.3, 0], [0, 0.3]]\nunits = 'm'": 300 * 300 / 2,
    }
    for line, area in cases.items():
        path = write(tmp_path, outline=f"[outline]\n{line}\n", feed=feed, vent=vent)
        points = read_part(path).plan.outline_mm
        x, y = points.T
        found = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
        assert_allclose(found, area, rtol=1e-9)


def test_a_disc_lies_about_its_middle_or_where_its_feeds_say(tmp_path):
    shape = "[outline]\ndisc_radius_mm = 150\n"
    about_0 = "[[feed]]\npoint_mm = [0, 0]\n", "[[vent]]\npoint_mm = [-150, 0]\n"
    about_r = "[[feed]]\npoint_mm = [150, 150]\n", "[[vent]]\npoint_mm = [300, 150]\n"
    plan = read_part(write(tmp_path, outline=shape, feed=about_0[0], vent=about_0[1])).plan
    assert_allclose(plan.outline_mm.mean(axis=0), [0, 0], atol=1e-9)
    plan = read_part(write(tmp_path, outline=shape, feed=about_r[0], vent=about_r[1])).plan
    assert_allclose(plan.outline_mm.mean(axis=0), [150, 150], atol=0.01)
    assert "a disc about (150, 150)" in " ".join(plan.notes)
    with pytest.raises(WetlineError, match="leaves the part"):
        read_part(write(tmp_path, outline=shape, feed=about_0[0], vent=about_r[1]))
    fixed = shape + "disc_centre_mm = [0, 0]\n"
    with pytest.raises(WetlineError, match="leaves the part"):
        read_part(write(tmp_path, outline=fixed, feed=about_r[0], vent=about_r[1]))


def test_values_flow_from_a_panel(tmp_path):
    make_panel(tmp_path)
    path = write(tmp_path, stack="[stack]\npanel = 'glass'\n", resin="", vacuum="")
    job = read_part(path)
    stack = job.plan.stack
    assert (stack.k1_m2, stack.porosity, stack.thickness_mm) == (2e-10, 0.55, 2.5)
    assert_allclose([stack.low, stack.high], [0.9, 1.15])
    assert job.resin.viscosity_pa_s == pytest.approx(0.18)
    assert_allclose(job.impulse.at(1.0), 90_000 / 0.18)
    assert any("resin as in glass" in note for note in job.plan.notes)


def test_point_fed_panel_gives_both_directions(tmp_path):
    known = {"k1_m2": 3e-10, "k2_m2": 1e-10, "angle_deg": 20.0, "k_m2": 1.73e-10}
    known |= {"k_low_m2": 1.6e-10, "k_high_m2": 1.9e-10}
    make_panel(tmp_path, permeability=known)
    zone = "[[zone]]\npoints_mm = [[0, 0], [300, 0], [300, 300]]\npanel = 'glass'\nangle_deg = 10\n"
    job = read_part(write(tmp_path, zone=zone))
    stack = job.plan.zones[0].stack
    assert (stack.k1_m2, stack.k2_m2, stack.angle_deg) == (3e-10, 1e-10, 30.0)
    assert stack.thickness_mm == 3.0  # the base stack's own key is kept


def test_a_zone_names_only_what_differs(tmp_path):
    zone = (
        "[[zone]]\nname = 'thick'\npoints_mm = [[0, 0], [300, 0], [300, 300]]\nthickness_mm = 6\n"
    )
    stack = read_part(write(tmp_path, zone=zone)).plan.zones[0].stack
    assert (stack.thickness_mm, stack.porosity, stack.k1_m2) == (6.0, 0.5, 1e-10)


def test_feeds_vents_and_gaps(tmp_path):
    feed = FEED + (
        "[[feed]]\nname = 'second'\npoint_mm = [600, 200]\nradius_mm = '0.5 in'\nopens_at_s = 90\n"
        "[[feed]]\nline_mm = [[900, 0], [900, 400]]\nopens_when = 'wet'\nresistance_mm = 20\n"
    )
    gap = "[[gap]]\nline_mm = [[0, 400], [1200, 400]]\nwidth_mm = 1.2\n"
    plan = read_part(write(tmp_path, feed=feed, gap=gap)).plan
    assert [f.opens_at_s for f in plan.feeds] == [0, 90, 0]
    assert [f.opens_when_wet for f in plan.feeds] == [False, False, True]
    assert plan.feeds[1].place.radius_mm == pytest.approx(12.7)
    assert plan.feeds[2].resistance_mm == 20
    assert plan.gaps[0].k_m2 == pytest.approx(1.2e-3**2 / 12)  # plane Poiseuille flow


def test_a_gap_that_just_misses_its_feed_is_told(tmp_path):
    gap = "[[gap]]\nline_mm = [[{x}, 400], [1200, 400]]\nwidth_mm = 1\n"
    notes = {
        x: " ".join(read_part(write(tmp_path, gap=gap.format(x=x))).plan.notes)
        for x in (0, 12, 200)
    }
    assert "number 1 stops 11 mm short of feed 1: taken as not fed by it" in notes[12]
    assert "short of" not in notes[0]
    assert "short of" not in notes[200]


def test_another_drive_is_read_from_the_command_line(tmp_path):
    job = with_drive(read_part(write(tmp_path)), 475.0, 400.0)
    assert_allclose(job.impulse.at(1.0), 47_500 / 0.4)
    with pytest.raises(WetlineError, match="more than the air pressure"):
        with_drive(job, 5000.0, None)


def test_which_way_y_runs_is_said_and_turns_a_panel_s_angle(tmp_path):
    known = {"k1_m2": 3e-10, "k2_m2": 1e-10, "angle_deg": 20.0, "k_m2": 1.73e-10}
    make_panel(tmp_path, permeability=known)
    stack = "[stack]\npanel = 'glass'\nangle_deg = 5\n"
    down = read_part(write(tmp_path, stack=stack)).plan
    up = read_part(write(tmp_path, stack=stack, outline=OUTLINE + "y_runs = 'up'\n")).plan
    assert (down.y_runs, up.y_runs) == ("down", "up")
    assert (down.stack.angle_deg, up.stack.angle_deg) == (25.0, -15.0)


def test_heights_are_a_plane_over_the_pot(tmp_path):
    heights = "[height]\npot_mm = -400\nplaces_mm = [[0, 0, 100], [1200, 0, 100], [0, 400, 300]]\n"
    plan = read_part(write(tmp_path, heights=heights)).plan
    assert_allclose(plan.heights.above_pot_mm(np.array([[0, 0], [600, 200.0]])), [500, 600])
    assert not plan.heights.level
    level = read_part(write(tmp_path, heights="[height]\npot_mm = '-0.4 m'\n")).plan
    assert level.heights.level
    assert_allclose(level.heights.above_pot_mm(np.array([[50, 50.0]])), 400)


def test_lifting_the_resin_from_the_pot_takes_its_head_off_the_drive(tmp_path):
    # rho g h: 1 m of 1100 kg/m3 is 107.9 mbar (hydrostatics; g of ISO 80000-3).
    resin = RESIN + "density_kg_m3 = 1100\n"
    plain = read_part(write(tmp_path, resin=resin))
    low = read_part(write(tmp_path, resin=resin, heights="[height]\npot_mm = -1000\n"))
    lifted = 1100 * 9.80665
    assert_allclose(plain.impulse.at(1.0) - low.impulse.at(1.0), lifted / 0.2)
    high = read_part(write(tmp_path, resin=resin, heights="[height]\npot_mm = 500\n"))
    assert_allclose(high.impulse.at(1.0) - plain.impulse.at(1.0), lifted / 2 / 0.2)


def test_the_part_s_own_conditions_are_read(tmp_path):
    text = (
        "[part]\nname = 'cover'\nfeed_line = 'same'\nresin_batch = 'new'\ntemperature_c = 15\n"
        "temperature_sd_c = 1\nrepeat_sd_percent = 5\n"
    )
    resin = RESIN + "temperature_c = 20\ngel_temperature_c = 20\n"
    job = read_part(write(tmp_path, resin=resin, part=text))
    warm = read_part(write(tmp_path, resin=resin))
    assert job.plan.name == "cover"
    assert job.conditions.repeat_sd == 0.05
    assert job.conditions.viscosity_sd > 0.1
    assert job.impulse.at(1.0) < 0.8 * warm.impulse.at(1.0)  # colder is thicker
    assert any("carried from 20 to 15 C" in note for note in job.plan.notes)


BAD = {
    "crosses": (
        {"outline": "[outline]\npoints_mm = [[0,0],[1200,400],[1200,0],[0,400]]\n"},
        r"part.toml: \[outline\] points_mm: crosses itself near \(600.0, 200.0\) mm",
    ),
    "two kilometres": (
        {"outline": "[outline]\nrectangle_mm = [2000000, 400000]\n"},
        "makes the part 2000 m long: lengths are in mm",
    ),
    "metres taken for mm": (
        {"outline": "[outline]\nrectangle_mm = [1.2, 0.4]\n"},
        "makes the part 1.2 mm long: lengths are in mm",
    ),
    "no outline": ({"outline": ""}, r"\[outline\] = \(missing\): give one of"),
    "two outlines": (
        {"outline": "[outline]\nrectangle_mm = [1200, 400]\ndisc_radius_mm = 40\n"},
        "give one of",
    ),
    "too few points": ({"outline": "[outline]\npoints_mm = [[0,0],[1200,0]]\n"}, "at least three"),
    "flat": (
        {"outline": "[outline]\npoints_mm = [[0,0],[600,0],[1200,0.0],[300,0.001]]\n"},
        "encloses almost no area",
    ),
    "hole off the part": (
        {"outline": OUTLINE + "holes_mm = [[[1100, 100], [1300, 100], [1300, 200]]]\n"},
        "hole 1: is not wholly inside the outline",
    ),
    "crossing hole": (
        {"outline": OUTLINE + "holes_mm = [[[100,100],[200,200],[200,100],[100,200]]]\n"},
        "hole 1: crosses itself",
    ),
    "drawing missing": ({"outline": "[outline]\nfile = 'cover.dxf'\n"}, "cover.dxf: not found"),
    "feed off the part": (
        {"feed": "[[feed]]\nline_mm = [[-80, 0], [-80, 400]]\n"},
        r"\[\[feed\]\] number 1: line_mm = .*: leaves the part: \(-80.0, .*\) lies 80.0 mm outside",
    ),
    "feed in a hole": (
        {
            "outline": OUTLINE + "holes_mm = [[[500,100],[700,100],[700,300],[500,300]]]\n",
            "feed": "[[feed]]\npoint_mm = [600, 200]\n",
        },
        r"number 1: point_mm .* leaves the part",
    ),
    "no feed": ({"feed": ""}, r"\[\[feed\]\] = \(missing\): add a feed"),
    "no open feed": ({"feed": FEED + "opens_at_s = 60\n"}, "none is open at the start"),
    "feed without place": ({"feed": "[[feed]]\nname = 'x'\n"}, "give either line_mm"),
    "feed of one point": ({"feed": "[[feed]]\nline_mm = [[0, 0]]\n"}, "two or more different"),
    "feed, wrong word": ({"feed": FEED + "opens_when = 'later'\n"}, "must be one of wet"),
    "single bracket": ({"feed": "[feed]\nline_mm = [[0,0],[0,400]]\n"}, r"write \[\[feed\]\]"),
    "no vent": ({"vent": ""}, r"\[\[vent\]\] = \(missing\): add a vent, or no air can leave"),
    "vent off the part": (
        {"vent": "[[vent]]\npoint_mm = [1500, 200]\n"},
        r"\[\[vent\]\] number 1: point_mm .* leaves the part",
    ),
    "panel missing": (
        {"zone": "[[zone]]\npoints_mm = [[0,0],[300,0],[300,300]]\npanel = 'carbon'\n"},
        r"\[\[zone\]\] number 1: panel = carbon: no panel there",
    ),
    "no permeability": (
        {"stack": "[stack]\nporosity = 0.5\nthickness_mm = 3\n"},
        "give one of k_m2",
    ),
    "permeability in mm2": (
        {"stack": "[stack]\nk_m2 = 1e-4\nporosity = 0.5\nthickness_mm = 3\n"},
        r"\[stack\] k_m2 = 0.0001: must be at most 1e-05",
    ),
    "k1 alone": (
        {"stack": "[stack]\nk1_m2 = 1e-10\nporosity = 0.5\nthickness_mm = 3\n"},
        "is needed beside k1_m2",
    ),
    "porosity in percent": (
        {"stack": "[stack]\nk_m2 = 1e-10\nporosity = 50\nthickness_mm = 3\n"},
        "porosity = 50: is needed, between 0 and 1",
    ),
    "no thickness": ({"stack": "[stack]\nk_m2 = 1e-10\nporosity = 0.5\n"}, "thickness_mm"),
    "interval upside down": (
        {"stack": STACK + "k_low_m2 = 2e-10\nk_high_m2 = 3e-10\n"},
        "must be at most k_m2",
    ),
    "zone without corners": ({"zone": "[[zone]]\nname = 'z'\nthickness_mm = 2\n"}, "the corners"),
    "spelling": ({"stack": STACK + "k_m = 2\n"}, r"\[stack\] k_m = 2: is not a known field"),
    "table nobody knows": (
        {"x": "[feeds]\nx = 1\n"},
        r"\[feeds\] = a table: is not a known table; did you mean feed\?",
    ),
    "misspelt field": (
        {"stack": STACK + "thicknes_mm = 2\n"},
        r"thicknes_mm = 2: is not a known field; did you mean thickness_mm\?",
    ),
    "misspelt field of resin": (
        {"resin": RESIN + "viscosity_doublng_min = 20\n"},
        "did you mean viscosity_doubling_min",
    ),
    "misspelt field of part": (
        {"part": "[part]\nresin_bach = 'new'\n"},
        "did you mean resin_batch",
    ),
    "misspelt field of vent": ({"vent": VENT + "radis_mm = 3\n"}, "did you mean radius_mm"),
    "part colder than what": (
        {"part": "[part]\ntemperature_c = 15\n"},
        r"add \[resin\] temperature_c",
    ),
    "heights without a pot": ({"h": "[height]\npart_mm = 300\n"}, "pot_mm = .*is needed"),
    "a pot too low": ({"h": "[height]\npot_mm = -9500\nconfirmed = ['pot_mm']\n"}, "raise the pot"),
    "a pot in metres below": ({"h": "[height]\npot_mm = -9500\n"}, "pot_mm = -9500: understood as"),
    "two places": (
        {"h": "[height]\npot_mm = 0\nplaces_mm = [[0, 0, 0], [1200, 0, 90]]\n"},
        "three places or more",
    ),
    "places in one line": (
        {"h": "[height]\npot_mm = 0\nplaces_mm = [[0, 0, 0], [600, 0, 40], [1200, 0, 90]]\n"},
        "do not lie in one line",
    ),
    "a bent part": (
        {
            "h": "[height]\npot_mm = 0\n"
            "places_mm = [[0, 0, 0], [1200, 0, 0], [1200, 400, 0], [0, 400, 200]]\n"
        },
        "off one plane: this part is bent",
    ),
    "cells": ({"grid": "[grid]\ncells = 5\n"}, r"\[grid\] cells = 5: must be at least 20"),
    "no viscosity": ({"resin": ""}, r"\[resin\] viscosity_mpas = \(missing\)"),
    "no vacuum": ({"vacuum": ""}, r"\[vacuum\] pressure_difference_mbar = \(missing\)"),
    "too much vacuum": (
        {"vacuum": "[vacuum]\npressure_difference_mbar = 2000\n"},
        "pressure_difference_mbar = 2000: must be above 0",
    ),
    "gap without width": ({"gap": "[[gap]]\nline_mm = [[0, 0], [100, 0]]\n"}, "width_mm"),
    "search": ({"search": "[search]\nfeeds = 7\n"}, r"\[search\] feeds = 7: must be at most 3"),
    "search off the part": (
        {"search": "[search]\nallowed_mm = [[[2000,0],[2100,0],[2100,90]]]\n"},
        "lies wholly off the part",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_gets_one_line_with_the_mend(tmp_path, name):
    changes, message = BAD[name]
    with pytest.raises(WetlineError, match=message) as caught:
        read_part(write(tmp_path, **changes))
    assert "\n" not in str(caught.value)


def test_a_panel_that_was_no_fair_test_gives_no_permeability(tmp_path):
    make_panel(tmp_path, verdict={"verdict": "unfair test", "reason": "the front stalled"})
    with pytest.raises(WetlineError, match=r"no fair test \(the front stalled\)"):
        read_part(write(tmp_path, stack="[stack]\npanel = 'glass'\n"))


def test_a_panel_that_has_changed_since_its_answer_gives_none_either(tmp_path):
    folder = make_panel(tmp_path)
    stamp = settings_stamp(folder, ANSWERED)
    make_panel(tmp_path, "stamped", answer_stamp=stamp)
    path = write(tmp_path, stack="[stack]\npanel = 'stamped'\n")
    assert read_part(path).plan.stack.k1_m2 == 2e-10
    panel = tmp_path / "stamped" / "panel.toml"
    panel.write_text(PANEL.replace("viscosity_mpas = 180", "viscosity_mpas = 90"))
    with pytest.raises(WetlineError, match="run `wetline run stamped` again"):
        read_part(path)


def test_a_panel_without_an_answer_says_what_to_run(tmp_path):
    folder = make_panel(tmp_path)
    stack = "[stack]\npanel = 'glass'\n"
    (folder / "results" / "results.json").unlink()
    with pytest.raises(WetlineError, match="run `wetline run glass` first"):
        read_part(write(tmp_path, stack=stack))
    make_panel(tmp_path, "poor", {"k_m2": None, "reason": "no front"})
    with pytest.raises(WetlineError, match="gave no permeability"):
        read_part(write(tmp_path, stack="[stack]\npanel = 'poor'\n"))
