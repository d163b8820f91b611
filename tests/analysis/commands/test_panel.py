import json

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.commands import panel as commands
from tests.made_up.curves import edge_front_mm, make_curve
from vision.common.atomic_files import write_json
from vision.errors import WetlineError

PANEL = """
[panel]
name = "roof cover A"
length_mm = 600
width_mm = 200
[stack]
porosity = 0.5
thickness_mm = 3
[resin]
viscosity_mpas = 200
gel_time_min = 60
hardener_parts = 30
density_kg_m3 = 1150
[vacuum]
pressure_difference_mbar = 950
[part]
flow_length_mm = 1000
area_m2 = 2
"""
FRONT = {
    "usable": True, "reason": "", "frames": 30, "frames_used": 30, "resin_start": None,
    "length_reached_mm": 530.0, "filled": False, "stalled_at_mm": None, "race_tracking_mm": 0.0,
    "dry_spots": [], "warnings": [], "clean_lanes_mm": [[0.0, 200.0]],
}  # fmt: skip
SCALE = {"method": "sheet", "mm_per_px": 0.5, "error_mm": 0.3, "relative_sd": 0.001}


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "panel.toml").write_text(PANEL, encoding="utf-8")
    return tmp_path


def run(command, *arguments):
    return CliRunner().invoke(command, [str(a) for a in arguments], catch_exceptions=False)


def test_forecast(folder):
    front_csv = pytest.importorskip("vision.front.front_csv")
    t = np.linspace(20.0, 1500.0, 30)
    x = edge_front_mm(t) + np.random.default_rng(1).normal(0, 0.3, 30)
    front_csv.write_front_csv(folder / "results" / "front.csv", make_curve(t, x, 0.3))
    write_json(folder / "results" / "results.json", {"front": FRONT, "scale": SCALE})
    result = run(commands.forecast, folder)
    assert result.exit_code == 0
    assert "GELS FIRST" in result.output
    assert "slower hardener (enough)" in result.output
    assert (folder / "results" / "levers.png").stat().st_size > 10_000
    printed = run(commands.forecast, folder, "--json", "--quiet")
    assert json.loads(printed.stdout)["verdict"]["verdict"] == "gels first"
    assert printed.stderr == ""


def test_forecast_before_tracking_says_what_to_run(folder):
    with pytest.raises(WetlineError, match="run `wetline run"):
        run(commands.forecast, folder)


def test_resin_plan(folder):
    result = run(commands.resin, folder, "--line-m", 2)
    assert result.exit_code == 0
    assert "CAUTION" in result.output
    assert "pour by" in result.output
    plan = json.loads(run(commands.resin, folder, "--json").stdout)
    # 2 m2 x 3 mm x 0.5 x 1150 kg/m3 = 3.45 kg in the pores, by hand.
    assert plan["items_kg"]["stack"] == pytest.approx(3.45)
    assert plan["total_kg"] == pytest.approx(3.45 * 1.1 + 0.15)


def test_resin_from_weighing(folder):
    plan = run(commands.resin, folder, "--before-kg", 1, "--after-kg", 0.7, "--json")
    assert json.loads(plan.stdout)["items_kg"]["stack"] == pytest.approx(2 * 0.3 / 0.12)


def test_drawdown(tmp_path):
    rows = "".join(f"{m},{5 + 0.02 * m:.3f}\n" for m in range(21))
    (tmp_path / "log.csv").write_text("time_min,bag_mbar\n" + rows)
    result = run(commands.drawdown, tmp_path / "log.csv", "--volume-l", 5)
    assert result.output.startswith("GO")
    assert "bag_mbar = 5.0" in result.output
    printed = run(commands.drawdown, tmp_path / "log.csv", "--json", "--gel-min", 60)
    document = json.loads(printed.stdout)
    assert document["verdict"] == "go"
    assert document["at_gel_mbar"] == pytest.approx(6.2, abs=0.3)


def test_drawdown_refuses_an_unknown_unit(tmp_path):
    (tmp_path / "log.csv").write_text("time_min,reading\n0,1\n1,2\n")
    with pytest.raises(WetlineError, match="must be one of mbar"):
        run(commands.drawdown, tmp_path / "log.csv", "--unit", "furlongs")
