"""The made-up flow of parts against closed forms and the project's own; the sample part."""

import json
import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest

from analysis.part.flow.filling import fill_plan
from analysis.part.plan.plan import Gap, PartFeed, PartPlan, PartStack, Place, Zone
from sample_frames._part_flow import fill
from sample_frames._part_make import moments, part_toml, photo_name
from sample_frames._part_recipes import PART_RECIPES
from sample_frames._part_scene import build_part, photograph_part
from sample_frames._part_world import Clock, Filled, Inlet, Layup, Patch, Slot, World

FOLDER = Path(__file__).resolve().parents[1] / "sample_frames" / "part_run"

K, PHI, DP, MU = 2e-10, 0.5, 95_000.0, 0.2
LAYUP = Layup(K, K, porosity=PHI)


def box(x0, y0, x1, y1):
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)


def edge(resistance_mm=0.0, tall=100.0):
    line = np.array([(0.0, 0.0), (0.0, tall)])
    return Inlet("edge", line, resistance_mm=resistance_mm)


@pytest.mark.parametrize("resistance_mm", [0.0, 50.0])
def test_line_feed_follows_darcy(resistance_mm):
    # H. Darcy, 1856, with a sharp front: x^2 + 2 a x = 2 K dP t / (phi mu).
    world = World(box(0, 0, 400, 100), LAYUP, (edge(resistance_mm),))
    filled = fill(world)
    x = filled.x_mm * 1e-3
    exact = (x**2 + 2e-3 * resistance_mm * x) * PHI * MU / (2 * K * DP)
    off = np.abs(filled.time_s - exact) / exact.max()
    assert off[:, x < 0.37].max() < 0.008
    assert off.max() < 0.03  # the last side of a triangle before the wall


def test_point_feed_follows_the_radial_law():
    # r^2 (2 ln(r/r0) - 1) + r0^2 = 4 K dP t / (phi mu): radial Darcy flow from a disc of r0.
    point = Inlet("point", np.array([(250.0, 250.0)]), radius_mm=8.0)
    filled = fill(World(box(0, 0, 500, 500), LAYUP, (point,)))
    x, y = np.meshgrid(filled.x_mm - 250, filled.y_mm - 250)
    r = np.hypot(x, y) * 1e-3
    near = (r > 0.03) & (r < 0.22)
    exact = r[near] ** 2 * (2 * np.log(r[near] / 0.008) - 1) + 0.008**2
    exact *= PHI * MU / (4 * K * DP)
    assert np.abs(filled.time_s[near] - exact).max() < 0.02 * exact.max()


def test_thickening_resin_takes_longer_by_the_closed_form():
    # theta = (dP / mu0) (D / ln 2) (1 - 2^(-t/D)) for a viscosity that doubles every D.
    clock = Clock(DP, MU, 300.0)
    assert clock.time_s(clock.impulse(412.0)) == pytest.approx(412.0)
    assert clock.impulse(300.0) == pytest.approx(DP / MU * 300 / np.log(2) / 2)
    assert np.isinf(clock.time_s(2 * DP / MU * 300 / np.log(2)))


def test_a_feed_that_is_smaller_than_the_mesh_is_refused():
    point = Inlet("dot", np.array([(50.0, 50.0)]), radius_mm=1.0)
    with pytest.raises(ValueError, match="dot"):
        fill(World(box(0, 0, 100, 100), LAYUP, (point,)))


def test_it_agrees_with_the_filling_of_the_plan():
    # Two discretisations of one part: finite elements here, cells there. They part most in the
    # gap's wake and where fronts meet.
    outline, hole = box(0, 0, 600, 400), box(400, 100, 500, 300)
    slow, gap = box(150, 0, 300, 200), np.array([(0.0, 400.0), (600.0, 400.0)])
    less = Layup(0.8e-10, 0.8e-10, porosity=PHI)
    second = np.array([(300.0, 0.0), (300.0, 400.0)])
    world = World(
        outline,
        LAYUP,
        (edge(tall=400.0), Inlet("second", second, opens_at_s=200.0)),
        holes_mm=(hole,),
        patches=(Patch("slow", slow, less),),
        slots=(Slot(gap, 0.6),),
    )
    filled = fill(world)
    stack = PartStack(K, K, 0.0, PHI, 3.0)
    plan = PartPlan(
        outline,
        (hole,),
        stack,
        (Zone("slow", slow, PartStack(0.8e-10, 0.8e-10, 0.0, PHI, 3.0)),),
        (Gap(gap, 0.6, 0.6e-3**2 / 12, 3.0),),
        (
            PartFeed(Place(edge(tall=400.0).points_mm)),
            PartFeed(Place(second), opens_at_s=200.0),
        ),
        cells=120,
    )
    there = fill_plan(plan, [0.0, 200.0 * DP / MU])
    centre = there.links.centre_mm
    col, row = ((centre - 0.0) // 4.0).astype(int).T
    mine = filled.time_s[np.minimum(row, 99), np.minimum(col, 149)]
    theirs = there.arrival[: len(centre)] * MU / DP
    off = np.abs(mine - theirs)[np.isfinite(mine)] / filled.fill_s
    assert np.quantile(off, 0.95) < 0.02
    assert np.median(off) < 0.006


# The sample part with photos


def known():
    return json.loads((FOLDER / "truth" / "truth.json").read_text(encoding="utf-8"))


def test_the_sample_part_is_small_and_as_its_recipe_says():
    files = [path for path in FOLDER.rglob("*") if path.is_file()]
    # What a run of the sample leaves in this checkout is no part of it.
    total = sum(path.stat().st_size for path in files if path.parent != FOLDER / "results")
    assert total < 1.3e6
    text = (FOLDER / "part.toml").read_text(encoding="utf-8")
    assert text == part_toml(PART_RECIPES["part_run"])
    record, truth = tomllib.loads(text), known()
    assert record["scale"]["method"] == "sheet"
    photos = sorted(path.name for path in (FOLDER / "frames").iterdir())
    assert photos == [row["file"] for row in truth["frames"]]
    zone, gap = record["zone"][0]["k1_m2"], record["gap"][0]["width_mm"]
    assert truth["true"]["stacks"][1]["k1_m2"] < 0.75 * zone
    assert truth["true"]["gap_widths_mm"][0] > 1.5 * gap
    assert truth["true"]["stacks"][0]["k1_m2"] == record["stack"]["k1_m2"]


def test_the_second_feed_opened_when_the_front_had_passed_it():
    truth = known()["true"]
    opened = {feed["name"]: feed["opened_s"] for feed in truth["feeds"]}
    with np.load(FOLDER / "truth" / "arrival.npz") as stored:
        x, y, time_s = (stored[key] for key in ("x_mm", "y_mm", "time_s"))
    rows = (y > 120) & (y < 780)
    on_line = time_s[rows][:, np.abs(x - 1560).argmin()]
    assert opened["feed line"] == 0
    assert opened["second line"] == pytest.approx(on_line.max(), rel=0.03)
    assert np.nanmax(time_s) == pytest.approx(truth["fill_time_s"], rel=0.001)


def test_cards_lie_where_the_truth_puts_them():
    # OpenCV's own ArUco detector, which knows nothing of the generator.
    row = known()["frames"][-1]  # after the bump
    image = cv2.imread(str(FOLDER / "frames" / row["file"]))
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(book).detectMarkers(image)
    record = tomllib.loads((FOLDER / "part.toml").read_text(encoding="utf-8"))["scale"]
    centres = np.array(record["marker_centres_mm"])[None]
    expected = cv2.perspectiveTransform(centres, np.array(row["homography_part_mm_to_px"]))[0]
    assert sorted(np.ravel(ids).tolist()) == [0, 1, 2, 3]
    for number, found in zip(np.ravel(ids), corners, strict=True):
        assert np.abs(found[0].mean(axis=0) - expected[number]).max() < 1.0


def test_the_photos_show_the_front_where_the_truth_puts_it():
    # Brightness of places that wetted 40 s and more before a photo, and of those that wet 40 s
    # and more after: no tracker here.
    row = known()["frames"][20]
    image = cv2.imread(str(FOLDER / "frames" / row["file"]), cv2.IMREAD_GRAYSCALE)
    with np.load(FOLDER / "truth" / "arrival.npz") as stored:
        x, y, time_s = (stored[key] for key in ("x_mm", "y_mm", "time_s"))
    at = np.stack(np.meshgrid(x, y), axis=-1)[None].reshape(1, -1, 2)
    px = cv2.perspectiveTransform(at, np.array(row["homography_part_mm_to_px"]))[0]
    px = px.astype(np.float32).reshape(*time_s.shape, 2)
    tone = cv2.remap(image, px[..., 0], px[..., 1], cv2.INTER_LINEAR).ravel()
    behind = row["time_s"] - time_s.ravel()
    wet, dry = (behind > 40) & (behind < 140), (behind < -40) & (behind > -140)
    bound = (np.median(tone[wet]) + np.median(tone[dry])) / 2
    assert np.median(tone[dry]) - np.median(tone[wet]) > 30
    assert (tone[wet] < bound).mean() > 0.95
    assert (tone[dry] > bound).mean() > 0.95


def test_a_committed_photo_is_made_again():
    recipe = PART_RECIPES["part_run"]
    feeds = {feed["name"]: feed["opened_s"] for feed in known()["true"]["feeds"]}
    with np.load(FOLDER / "truth" / "arrival.npz") as stored:
        filled = Filled(stored["x_mm"], stored["y_mm"], stored["time_s"], feeds)
    scene = build_part(recipe.true, filled, recipe.look, recipe.seed)
    number = 15
    time_s, shot = known()["frames"][number]["time_s"], moments(recipe)[number]
    image = photograph_part(scene, recipe.look, time_s, shot, (recipe.seed, 7, number))
    kept = cv2.imread(str(FOLDER / "frames" / photo_name(number)))[..., ::-1]
    assert np.abs(image.astype(float) - kept).mean() < 4.0  # what JPEG takes away
