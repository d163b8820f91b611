"""What a user reads, whole, from numbers set by hand; and every number of results.json."""

from dataclasses import replace

import pytest

from analysis.forecast.fill_time import FillForecast
from analysis.forecast.forecast import forecast_json, forecast_lines
from analysis.forecast.panel_json import answer_json
from analysis.forecast.panel_text import CAUTION, answer_lines
from tests.made_up.answers import bare_answer, make_answer, roof_cover
from tests.made_up.forecasts import made

ASSUMES = ("the feed", "the batch", "the lay-up")
HELD_BACK = "the feed held the resin back as much as 34 mm more of panel would"
FILL = FillForecast(0.45, 1830.0, 1690.0, 2010.0, 0.5452, 0.5011, 0.5899, assumes=ASSUMES)


def test_the_screen_of_a_panel():
    assert answer_lines(roof_cover(fill=FILL)) == [
        "Panel:        Roof cover 7",
        "Verdict:      FILLS",
        "              It takes 31 min of the 45 min there are.",
        "Permeability: 8.13e-11 m2 (95 %: 7.60e-11 to 1.02e-10), under this bag",
        "              the front slowed evenly, as it should",
        "Fill time:    450 mm in 31 min (95 %: 28 to 34)",
        "              taken for the part: the feed; the batch",
        "Gel:          55 min; working time 45 min, 1.48 times the fill time",
        "Longest run:  545 mm in the working time (95 %: 501 to 590)",
        "Front:        reached 352 mm; 39 of 48 pictures used",
        "Look at:      Frame 21 lies 25 mm off the curve & was not used.",
        CAUTION,
    ]


def test_the_screen_of_a_panel_of_which_nothing_is_known():
    assert answer_lines(bare_answer()) == [
        "Panel:        Roof cover 7",
        "Verdict:      CANNOT DECIDE",
        "              No front seen",
        "Permeability: not known",
        "Front:        not measured",
        CAUTION,
    ]


@pytest.mark.parametrize(
    ("model", "says"),
    [
        ("late start", "the front slowed evenly, as if the resin had come 12 s after its start"),
        ("feed resistance", HELD_BACK),
        ("feed resistance and late start", HELD_BACK),
    ],
)
def test_how_the_front_moved_in_words(model, says):
    base = roof_cover()
    fit = replace(base.fit, model=model, start_s=12.2, feed_length_m=0.034)
    assert answer_lines(replace(base, fit=fit))[4].strip() == says


def test_a_fill_that_never_ends():
    never = FillForecast(0.45, float("inf"), 1690.0, float("inf"))
    lines = answer_lines(roof_cover(fill=never))
    assert "Fill time:    450 mm never: the resin stiffens first" in lines


def test_every_number_of_the_fit_fill_and_gel_in_json():
    base = roof_cover(fill=FILL)
    found, fit, gel = answer_json(base), base.fit, base.gel
    assert found["fill"] == {
        "flow_length_mm": 450.0,
        "feed": "edge",
        "time_s": 1830.0,
        "time_low_s": 1690.0,
        "time_high_s": 2010.0,
        "never": False,
        "longest_run_mm": pytest.approx(545.2),
        "longest_run_low_mm": pytest.approx(501.1),
        "longest_run_high_mm": pytest.approx(589.9),
        "assumes": list(ASSUMES),
        "tool_lag_mm": 0.0,
    }
    assert found["gel"] == {
        "gel_time_s": gel.gel_time_s,
        "working_time_s": gel.working_time_s,
        "rough": gel.rough,
        "margin": gel.margin,
        "margin_low": gel.margin_low,
        "margin_high": gel.margin_high,
    }
    told = found["permeability"]
    wanted = {
        "model": fit.model,
        "k_m2": fit.k_m2,
        "k_low_m2": fit.k_low_m2,
        "k_high_m2": fit.k_high_m2,
        "why_this_model": fit.why,
        "k_over_porosity_m2": fit.slope / 2.0,
        "diffusivity_m2_per_s": fit.slope * 95_000.0 / 0.2,
        "start_s": fit.start_s,
        "feed_length_mm": fit.feed_length_m * 1000.0,
        "frames_used": 39,
        "fit_from_s": fit.time_s[fit.used].min(),
        "fit_to_s": fit.time_s[fit.used].max(),
        "residual_correlation": fit.correlation,
        "bag_factor": None,
        "k_at_fibre_fraction_m2": None,
    }
    for key, value in wanted.items():
        assert told[key] == (pytest.approx(value) if isinstance(value, float) else value), key
    rms_mm = (((fit.front_m - fit.fitted_m)[fit.used] ** 2).mean()) ** 0.5 * 1000.0
    assert told["rms_residual_mm"] == pytest.approx(rms_mm)
    assert told["relative_sd"] == dict(fit.relative_sd)
    assert [m["name"] for m in told["models"]] == [c.name for c in fit.candidates]
    assert told["bend"] == {
        "late_speed": fit.bend.late_speed,
        "p_value": fit.bend.p_value,
        "clear": False,
    }
    assert found["stack"] == {"porosity": 0.5, "fibre_fraction": 0.5, "thickness_mm": None}


def test_fill_that_never_ends_is_never_in_json():
    never = FillForecast(0.45, float("inf"), 1690.0, float("inf"))
    told = answer_json(roof_cover(fill=never))["fill"]
    assert (told["never"], told["time_s"], told["time_low_s"]) == (True, None, 1690.0)


def test_the_room_to_spare_whole():
    lines = forecast_lines(made(0.4))
    start = lines.index("Room to spare, one thing at a time:")
    assert [line[:28] for line in lines[start + 1 : start + 5]] == [
        "- gel time could be as short",
        "- the run could be as long a",
        "- a pressure difference of 3",
        "- a stack or resin 2.5 times",
    ]
    # 400 mm is filled in 14 min of 42: the run that fills them at 95 % is that of the lower bound.
    low_mm = made(0.4).answer.fill.longest_low_m * 1000.0
    assert f"as long as {low_mm - 0.5:.0f} mm" in lines[start + 2]


def test_every_number_of_a_change_in_json():
    found = made()
    told = forecast_json(found)
    assert [one["name"] for one in told["levers"]] == [one.name for one in found.changes]
    for one, change in zip(told["levers"], found.changes, strict=True):
        assert one == {
            "name": change.name,
            "enough": change.enough,
            "needed": change.needed,
            "likely_needed": change.likely,
            "unit": change.unit,
            "time_s": change.outcome.time_s,
            "margin": change.outcome.margin,
            "margin_low": change.outcome.margin_low,
            "margin_high": change.outcome.margin_high,
            "say": change.words,
            "cost": change.cost,
        }
    results = answer_json(found.answer)
    for key in ("panel", "permeability", "fill", "gel", "verdict", "warnings"):
        assert told[key] == results[key]
    assert (told["media"], told["reason"]) == (None, "")


def test_each_change_with_its_words_and_price():
    lines = forecast_lines(made())
    start = lines.index("What would be enough alone, least trouble first:")
    shown = [line.split(":")[0] for line in lines[start + 1 : start + 15]]
    assert shown[::2] == [
        "- slower hardener (enough)",
        "- feed from the middle (enough)",
        "- flow media (enough)",
        "- more feed lines (enough)",
        "- shorter run (enough)",
        "- better vacuum (too little)",
        "- temperature (too little)",
    ]
    assert set(shown[1::2]) == {"  price"}
    assert make_answer().verdict == "fills"
