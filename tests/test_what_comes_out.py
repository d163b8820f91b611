"""What a shop reads on screen, in results.json and in the record, for runs of every kind.

Each run is a pen-marked panel worked through the command line; the front is Darcy's law with a
sharp front (x^2 = 2 K theta / porosity), spoiled in one known way.
"""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from wetline import main

K_M2, DRIVE_PA, VISCOSITY_PA_S, POROSITY = 1e-10, 95_000.0, 0.20, 0.50
D_MM2_S = 2e6 * K_M2 * DRIVE_PA / (POROSITY * VISCOSITY_PA_S)
TIMES_S = np.linspace(60.0, 1800.0, 30)
PANEL = """
[panel]
name = "roof hatch cover"
length_mm = 1000
width_mm = 300
[frames]
source = "marks.csv"
[stack]
porosity = 0.5
{stack}
[resin]
viscosity_mpas = 200
gel_time_min = {gel_min}
{resin}
[vacuum]
{vacuum}
[part]
flow_length_mm = {run_mm}
feed_line = "same"
"""
DRIVE = "pressure_difference_mbar = 950"


def even_mm(time_s):
    return np.sqrt(D_MM2_S * np.maximum(time_s, 0.0))


def run(folder, front_mm, *, gel_min=120, run_mm=700, stack="", resin="", vacuum=DRIVE):
    """Run a pen-marked panel; the exit code, the lines on screen and results.json."""
    folder.mkdir(exist_ok=True)
    text = PANEL.format(gel_min=gel_min, run_mm=run_mm, stack=stack, resin=resin, vacuum=vacuum)
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    noisy = front_mm + np.random.default_rng(4).normal(0, 0.8, len(TIMES_S))
    rows = "".join(f"{t:.0f},{x:.0f}\n" for t, x in zip(TIMES_S, noisy, strict=True))
    (folder / "marks.csv").write_text("time_s,distance_mm\n" + rows, encoding="utf-8")
    found = CliRunner().invoke(main, ["run", str(folder)])
    assert found.exit_code == 0, found.output
    lines = found.output.splitlines()
    return lines, json.loads((folder / "results" / "results.json").read_text(encoding="utf-8"))


def headline(lines):
    return next(line for line in lines if line.startswith("Verdict:")).split(":", 1)[1].strip()


# 700 mm takes 0.49 / 3.8e-4 x 2 s = 43 min at K 1e-10 m2.
@pytest.mark.parametrize(
    ("gel_min", "words"),
    [
        (120, "FILLS"),
        (80, "FILLS"),
        (70, "TIGHT"),
        (50, "MAY GEL FIRST (TIGHT)"),
        (40, "GELS FIRST"),
    ],
)
def test_a_sound_panel_against_gel_times(tmp_path, gel_min, words):
    lines, found = run(tmp_path / "p", even_mm(TIMES_S), gel_min=gel_min)
    assert headline(lines) == words
    assert found["verdict"]["may_gel_first"] is words.startswith("MAY")
    assert "95 %" in found["verdict"]["reason"]
    assert found["permeability"]["k_low_m2"] < K_M2 < found["permeability"]["k_high_m2"]
    page = (tmp_path / "p" / "results" / "report.html").read_text(encoding="utf-8")
    assert f"Verdict: {words.lower()}" in page


def thickened_mm():
    """Resin whose viscosity doubles each 15 min, which nobody has stated."""
    growth = np.log(2.0) / 900.0
    return even_mm(-np.expm1(-growth * TIMES_S) / growth)


def sagged_mm():
    """Half of the vacuum lost over the run, which nobody has logged."""
    return even_mm(TIMES_S - 0.25 * TIMES_S**2 / TIMES_S[-1])


def stalled_mm():
    return np.minimum(even_mm(TIMES_S), even_mm(np.array([900.0]))[0])


@pytest.mark.parametrize(
    ("front_mm", "says"),
    [(thickened_mm, "beyond"), (sagged_mm, "beyond"), (stalled_mm, "stalled at")],
    ids=["thickening", "sag", "stall"],
)
def test_what_spoils_the_front_makes_the_test_unfair(tmp_path, front_mm, says):
    lines, found = run(tmp_path / "p", front_mm())
    assert headline(lines) == "UNFAIR TEST"
    assert says in found["verdict"]["reason"] or "slowed" in found["verdict"]["reason"]


def test_what_is_stated_spoils_nothing(tmp_path):
    lines, found = run(tmp_path / "p", thickened_mm(), resin="viscosity_doubling_min = 15")
    assert headline(lines) in ("GELS FIRST", "MAY GEL FIRST (TIGHT)")
    assert found["permeability"]["k_m2"] == pytest.approx(K_M2, rel=0.05)


def test_a_logged_sag_is_no_fair_test(tmp_path):
    folder = tmp_path / "p"
    folder.mkdir()
    rows = "".join(f"{t},{63 + 475 * t / 1800:.0f}\n" for t in range(0, 1801, 60))
    (folder / "vacuum.csv").write_text("time_s,bag_mbar\n" + rows, encoding="utf-8")
    vacuum = 'ambient_mbar = 1013\nlog = "vacuum.csv"'
    lines, found = run(folder, sagged_mm(), vacuum=vacuum)
    assert headline(lines) == "UNFAIR TEST"
    assert "the vacuum sagged by 50 %" in found["verdict"]["reason"]


def test_flow_media_of_unknown_lag_get_no_verdict_and_a_known_one_counts(tmp_path):
    media = "thickness_mm = 3\nmedia_thickness_mm = 1\nmedia_porosity = 0.8\n"
    lines, found = run(tmp_path / "p", even_mm(TIMES_S), stack=media)
    assert headline(lines) == "CANNOT DECIDE"
    assert "media_lead_mm" in found["verdict"]["reason"]
    laid, known = run(tmp_path / "q", even_mm(TIMES_S), stack=media + "media_lead_mm = 100")
    assert headline(laid) == "FILLS"
    assert known["fill"]["tool_lag_mm"] == 100.0
    assert known["fill"]["time_s"] == pytest.approx(0.8**2 / D_MM2_S * 1e6, rel=0.05)


def test_a_fit_after_the_scale_has_changed_is_refused(tmp_path):
    folder = tmp_path / "p"
    run(folder, even_mm(TIMES_S))
    text = (folder / "panel.toml").read_text(encoding="utf-8")
    for old, new, code in (
        ("gel_time_min = 120", "gel_time_min = 40", 0),
        ("length_mm = 1000", "length_mm = 1200", 1),
    ):
        (folder / "panel.toml").write_text(text.replace(old, new), encoding="utf-8")
        found = CliRunner().invoke(main, ["fit", str(folder), "--quiet"])
        assert found.exit_code == code, found.output
        assert ("GELS FIRST" if code == 0 else "run `wetline run` again") in found.output
