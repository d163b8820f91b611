"""`wetline part`: the files it writes and what it prints."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from numpy.testing import assert_allclose
from PIL import Image

from analysis.commands.part import part
from analysis.part.answer import figures as part_plots
from analysis.part.answer import job as part_job
from analysis.part.answer.doubts import Ends
from analysis.part.answer.figures import line_step_min, part_path, spread
from analysis.part.answer.store import fingerprint, load_fill, save_fill
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.part_toml import read_part
from vision.errors import WetlineError

PART = """
name = "cover"
[outline]
rectangle_mm = [500, 300]
holes_mm = [[[200, 100], [260, 100], [260, 180], [200, 180]]]
[stack]
k_m2 = 1e-10
k_low_m2 = 0.8e-10
k_high_m2 = 1.25e-10
porosity = 0.5
thickness_mm = 3
[[feed]]
name = "line"
line_mm = [[0, 0], [0, 300]]
[[vent]]
line_mm = [[500, 0], [500, 300]]
[resin]
viscosity_mpas = 200
gel_time_min = 60
density_kg_m3 = 1150
[vacuum]
pressure_difference_mbar = 950
[grid]
cells = 40
"""
SAMPLE = Path(__file__).resolve().parents[3] / "sample_frames" / "part_cover" / "part.toml"
WRITTEN = ["fill_time.npz", "part.json", "part_fill.png", "part_fill.svg", "part_margin.png"]


@pytest.fixture(autouse=True)
def small_pictures(monkeypatch):
    """Draw at a coarse resolution: the drawing is what takes time here."""
    monkeypatch.setattr(part_plots, "DPI", 45)


@pytest.fixture
def cover(tmp_path):
    (tmp_path / "part.toml").write_text(PART, encoding="utf-8")
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(part, [str(a) for a in arguments], catch_exceptions=False)


def test_files_and_answer(cover):
    result = run(cover, "--quiet", "--no-animation")
    assert result.exit_code == 0
    assert result.stderr == ""
    results = cover / "results"
    for name in [*WRITTEN, "part_resin.png", "part.html"]:
        assert (results / name).stat().st_size > 500, name
    record = json.loads((results / "part.json").read_text(encoding="utf-8"))
    # A hole in the way: later than the plain 1315.789 s, and K alone moves the interval.
    assert 1300 < record["fill_time_s"] < 1500
    # K's own interval, the next lay-up 8 %, viscosity 5 %, vacuum 2 %, in squares (JCGM 100).
    even = 1.96**2 * (0.08**2 + 0.05**2 + 0.02**2)
    low, high = (
        np.log(record[f"fill_time_{k}_s"] / record["fill_time_s"]) for k in ("low", "high")
    )
    assert_allclose(low, -np.sqrt(np.log(1.25) ** 2 + even), rtol=1e-3)
    slow = next(one["high"] for one in record["doubts"] if "feed" in one["name"])
    assert 1.05 < slow < 1.12  # 20 mm of stack before a run of 500 mm
    assert_allclose(high, np.sqrt(np.log(1.25) ** 2 + even + np.log(slow) ** 2), rtol=1e-3)
    assert_allclose(record["fill_impulse_sweep"], record["fill_impulse"], rtol=1e-6)
    assert_allclose(record["resin_kg"], (0.15 - 0.0048) * 0.003 * 0.5 * 1150, rtol=1e-6)
    assert_allclose(record["margin"], 0.7 * 3600 / record["fill_time_s"])
    assert record["mass_error"] < 1e-3
    assert record["trapped"] == []
    assert record["last_spot_mm"][0] > 480
    assert record["verdict"] == "fills"
    assert 900 < record["cells"] <= 40 * 24
    with np.load(results / "fill_time.npz") as file:
        time_s, x, y = file["time_s"], file["x_mm"], file["y_mm"]
    assert time_s.shape == (len(y), len(x)) == (24, 40)
    assert_allclose(x[[0, -1]], [6.25, 493.75])
    assert np.isnan(time_s[10, 18])  # in the hole
    assert np.nanmax(time_s) <= record["fill_time_s"]
    early = time_s[:, 4]
    assert_allclose(early, 10526.316 / 2 * (x[4] / 1000) ** 2, rtol=0.02)


def test_printed_lines_are_plain_and_carry_the_cautions(cover):
    text = run(cover, "--quiet", "--no-animation").stdout
    assert text.startswith("cover: FILLS. All is wet after ")
    assert "Spacing      lines along y: at most" in text
    for piece in ("Resin", "overheat and burn", "advice with an interval", "min", "kg"):
        assert piece in text
    page = (cover / "results" / "part.html").read_text(encoding="utf-8")
    assert "Where the method stops" in page
    assert "a metre of resin is a tenth of the drive" in page
    assert "y runs down" in page
    assert "http" not in page.replace("http://www.w3.org", "")


def test_json_prints_the_file_and_nothing_else(cover):
    result = run(cover, "--json", "--quiet", "--no-animation")
    assert json.loads(result.stdout) == json.loads(
        (cover / "results" / "part.json").read_text(encoding="utf-8")
    )


def test_another_vacuum_or_resin_needs_no_solve(cover, monkeypatch):
    run(cover, "--quiet", "--no-animation")
    before = json.loads((cover / "results" / "part.json").read_text(encoding="utf-8"))

    def no_solve(*_, **__):
        raise AssertionError("solved again")

    monkeypatch.setattr(part_job, "fill_plan", no_solve)
    half = run(cover, "--vacuum", "475 mbar", "--json", "--quiet")
    assert_allclose(json.loads(half.stdout)["fill_time_s"], 2 * before["fill_time_s"], rtol=1e-9)
    thick = run(cover, "--viscosity", 400, "--json", "--quiet")
    assert_allclose(json.loads(thick.stdout)["fill_time_s"], 2 * before["fill_time_s"], rtol=1e-9)
    told = run(cover, "--vacuum", "475 mbar")
    assert "only vacuum and resin are worked out anew" in told.stderr
    assert "keeps the answer it had" in told.stdout
    assert json.loads((cover / "results" / "part.json").read_text(encoding="utf-8")) == before
    with pytest.raises(AssertionError, match="solved again"):
        run(cover, "--fresh", "--quiet")


def test_a_changed_plan_is_solved_again(cover):
    job = read_part(cover)
    fill = fill_plan(job.plan, steps=6)
    mark = fingerprint(job.plan, [0.0])
    path = cover / "results" / "filling.npz"
    save_fill(path, fill, Ends(1.0, 2.0), mark)
    again = load_fill(path, job.plan, mark)
    assert again is not None
    assert again[1] == Ends(1.0, 2.0)
    assert_allclose(again[0].arrival, fill.arrival)
    assert again[0].last_spot_mm == fill.last_spot_mm
    assert again[0].stages == fill.stages
    (cover / "part.toml").write_text(PART.replace("1e-10\nk_low", "1.1e-10\nk_low"), "utf-8")
    other = fingerprint(read_part(cover).plan, [0.0])
    assert other != mark
    assert load_fill(path, job.plan, other) is None
    path.write_bytes(b"broken")
    assert load_fill(path, job.plan, mark) is None


def test_search_is_printed_with_a_picture_for_each_layout(cover):
    text = PART + '[search]\nfeeds = 1\nkind = "line"\nkeep = 2\n'
    (cover / "part.toml").write_text(text, encoding="utf-8")
    result = run(cover, "--no-animation")
    assert "Search       1 feed(s), line, wish: fastest" in result.stdout
    assert "Spacing      lines along y: at most" in result.stdout
    assert "print through" in result.stdout
    record = json.loads((cover / "results" / "part.json").read_text(encoding="utf-8"))
    layouts = record["search"]["layouts"]
    assert len(layouts) == 2
    assert layouts[0]["fill_time_s"] <= layouts[1]["fill_time_s"] < record["fill_time_s"]
    for k in (1, 2):
        assert (cover / "results" / f"layout_{k}.png").stat().st_size > 2000
    assert "judging" in result.stderr


def test_animation_has_frames(cover, monkeypatch):
    monkeypatch.setattr(part_plots, "FRAMES", 14)
    run(cover, "--quiet")
    with Image.open(cover / "results" / "part_fill.gif") as movie:
        assert movie.n_frames > 10


def test_same_input_gives_the_same_files(cover):
    run(cover, "--quiet", "--no-animation", "--fresh")
    names = ("part.json", "part_fill.svg", "part_fill.png")
    first = [(cover / "results" / name).read_bytes() for name in names]
    run(cover, "--quiet", "--no-animation", "--fresh")
    assert [(cover / "results" / name).read_bytes() for name in names] == first


def test_bad_part_is_one_line(cover):
    (cover / "part.toml").write_text(PART.replace("[[vent]]", "[[vents]]"), encoding="utf-8")
    with pytest.raises(WetlineError, match=r"part\.toml: \[vents\]"):
        run(cover)


def test_sample_part_is_read_and_fills():
    job = read_part(SAMPLE)
    assert job.goal.wanted
    assert len(job.plan.zones) == 2
    fill = fill_plan(dataclasses.replace(job.plan, cells=50), [0.0, 0.0])
    assert len(fill.stages) == 2
    assert fill.mass_error < 1e-3


def test_line_steps_are_round():
    assert line_step_min(36.0) == 5
    assert line_step_min(5000.0) > 400


def test_spread_reaches_a_given_distance():
    field = np.array([[1.0, np.nan, np.nan, np.nan]])
    assert_allclose(spread(field), [[1, 1, 1, 1]])
    assert_allclose(spread(field, 1.0), [[1, 1, np.nan, np.nan]])


def test_holes_stay_empty_in_the_picture(cover):
    path = part_path(read_part(cover).plan)
    assert path.contains_point((50, 50))
    codes = list(path.codes)
    assert codes.count(path.MOVETO) == 2
