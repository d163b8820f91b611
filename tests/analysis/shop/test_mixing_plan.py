import dataclasses
import json

import pytest
from click.testing import CliRunner

from analysis.panel.records import Part, Resin, Stack
from analysis.shop.mixing_plan import FillTime, chemistry, plan_json, plan_lines, plan_resin
from analysis.shop.resin_quantity import Extras
from tests.made_up.curves import make_panel
from wetline import main

RESIN = Resin(density_kg_m3=1150.0, hardener_parts=30.0, gel_time_s=3600.0, pot_limit_kg=1.0)
QUICK = FillTime(1200.0, 1400.0, "fills")


def panel(**resin):
    return make_panel(
        resin=dataclasses.replace(RESIN, **resin),
        stack=Stack(porosity=0.5, thickness_m=2.8125e-3),
        part=Part(0.5, area_m2=2.0),
    )


def test_pots_add_up_stay_under_the_limit_and_have_a_pour_by():
    plan = plan_resin(panel(), Extras(), fill=QUICK)
    assert sum(p.resin_kg + p.hardener_kg for p in plan.pots) == pytest.approx(plan.total_kg)
    assert plan.hardener_kg / plan.resin_kg == pytest.approx(0.30)
    assert len(plan.pots) == 4
    for pot in plan.pots:
        assert pot.resin_kg + pot.hardener_kg <= 1.0
        assert pot.pour_by_s == pytest.approx(pot.mix_at_s + 0.7 * 3600)
    assert [p.mix_at_s for p in plan.pots] == sorted(p.mix_at_s for p in plan.pots)


def test_the_part_takes_resin_as_the_root_of_time():
    # Half the resin is in after a quarter of the time; five minutes before that it is mixed.
    pots = plan_resin(panel(pot_limit_kg=2.0), Extras(), fill=FillTime(4800.0, 4800.0)).pots
    assert len(pots) == 2
    assert pots[0].mix_at_s == -300.0
    assert pots[1].mix_at_s == pytest.approx(1200.0 - 300.0)


def test_a_plan_for_a_quick_fill_has_no_alarm():
    plan = plan_resin(panel(), Extras(), fill=QUICK)
    assert plan.alarms == ()
    assert plan_lines(plan)[0].startswith("Mix ")


@pytest.mark.parametrize(
    ("fill", "says"),
    [
        (FillTime(4000.0, 4500.0, "gels first"), "gels before the part is full (full at 67 min"),
        (FillTime(3700.0, 4500.0), "gels before the part is full"),
        (FillTime(float("inf"), float("inf"), "gels first"), "it never fills"),
        (FillTime(3000.0, 3700.0, "tight"), "may gel before the part is full"),
        (FillTime(1200.0, 1400.0, "unfair test"), "verdict is unfair test"),
        (FillTime(1200.0, 1400.0, "cannot decide"), "verdict is cannot decide"),
    ],
)
def test_what_speaks_against_mixing_comes_first(fill, says):
    lines = plan_lines(plan_resin(panel(), Extras(), fill=fill))
    assert lines[0].startswith("STOP: ")
    assert says in lines[0]


def test_gel_counts_from_mixing():
    late = panel(mixed_before_start_s=1200.0)
    fill = FillTime(2300.0, 2600.0, "tight")
    assert "may gel" in plan_resin(late, Extras(), fill=fill).alarms[0]
    assert not any("gel" in text for text in plan_resin(panel(), Extras(), fill=fill).alarms)


def test_a_fill_without_a_gel_time_is_judged_by_the_verdict_alone():
    bare = panel(gel_time_s=None)
    assert plan_resin(bare, Extras(), fill=QUICK).alarms == ()
    told = plan_resin(bare, Extras(), fill=FillTime(4000.0, 4500.0, "gels first")).alarms
    assert "(full at 67 min): mix nothing" in told[0]


def test_gel_is_that_of_the_part_s_temperature():
    # Ten degrees warmer halves the gel time (common practice): 30 min.
    warm = dataclasses.replace(
        panel(temperature_c=20.0), part=Part(0.5, area_m2=2.0, temperature_c=30.0)
    )
    alarms = plan_resin(warm, Extras(), fill=FillTime(1900.0, 2000.0)).alarms
    assert "gel at 30 min" in alarms[0]


def test_a_pot_that_outlives_its_pot_life_is_named_on_top():
    # One pot lasts to the end of the fill; mixed five minutes before the start, it lives 10 min.
    slow = plan_resin(panel(pot_life_s=600.0, pot_limit_kg=50.0), Extras(), fill=QUICK)
    assert len(slow.pots) == 1
    assert "pot 1 may be in use until 24 min, but its pot life ends at 5.0 min" in slow.alarms[0]
    assert "pot_limit_kg" in slow.alarms[0]
    # Pots of a quarter each: the last is mixed late enough.
    assert plan_resin(panel(pot_life_s=1500.0), Extras(), fill=QUICK).alarms == ()


def test_the_upper_bound_of_the_fill_counts_for_the_pots():
    fits = FillTime(1000.0, 1190.0, "fills")
    over = FillTime(1000.0, 1210.0, "fills")
    resin = panel(pot_life_s=1500.0, pot_limit_kg=50.0)  # mixed at -5 min, good until 20 min
    assert plan_resin(resin, Extras(), fill=fits).alarms == ()
    assert len(plan_resin(resin, Extras(), fill=over).alarms) == 1


def test_a_pot_life_shorter_than_pouring_is_an_alarm():
    assert "slower hardener" in plan_resin(panel(pot_life_s=299.0), Extras()).alarms[0]


def test_without_a_hardener_ratio_only_the_whole_is_known():
    plan = plan_resin(panel(hardener_parts=None), Extras())
    assert (plan.resin_kg, plan.hardener_kg) == (None, None)
    assert "hardener_parts" in plan.alarms[0]
    text = "\n".join(plan_lines(plan))
    assert "resin and hardener together" in text
    assert "g hardener" not in text
    assert sum(pot.mixed_kg for pot in plan.pots) == pytest.approx(plan.total_kg)


@pytest.mark.parametrize(
    ("resin", "kind"),
    [
        ({"hardener_parts": 2.0}, "peroxide"),
        ({"hardener_parts": 4.0}, "peroxide"),
        ({"hardener_parts": 10.0}, "epoxy"),
        ({"hardener_parts": 30.0}, "epoxy"),
        ({"hardener_parts": 7.0}, ""),
        ({"hardener_parts": None}, ""),
        ({"hardener_parts": 30.0, "resin_class": "polyester"}, "peroxide"),
        ({"hardener_parts": 2.0, "resin_class": "thin epoxy"}, "epoxy"),
        ({"resin_class": "vinyl ester"}, "peroxide"),
    ],
)
def test_cautions_go_with_the_chemistry(resin, kind):
    plan = plan_resin(panel(**resin), Extras())
    assert chemistry(panel(**resin)) == kind
    text = " ".join(plan.cautions).lower()
    assert ("peroxide" in text) == (kind != "epoxy")
    assert ("amine" in text) == (kind != "peroxide")
    for word in ("bulk", "safety data sheets", "goggles"):
        assert word in text


def test_what_is_not_known_is_noted():
    bare = plan_resin(panel(gel_time_s=None, density_kg_m3=None), Extras())
    text = " ".join(bare.notes)
    for word in ("density taken as", "wetline run", "no pour-by times", "[resin] class"):
        assert word in text
    assert all(pot.pour_by_s is None for pot in bare.pots)


def test_the_plan_as_json_holds_alarms_and_cautions():
    told = json.loads(json.dumps(plan_json(plan_resin(panel(hardener_parts=None), Extras()))))
    assert told["alarms"]
    assert told["cautions"]
    assert told["hardener_kg"] is None


@pytest.mark.parametrize("name", ["glass_edge", "carbon_corners", "glass_video", "pen_marks"])
def test_the_command_works_on_the_sample_panels(tmp_path, name):
    import shutil
    from pathlib import Path

    shutil.copy(Path("sample_frames") / name / "panel.toml", tmp_path / "panel.toml")
    told = CliRunner().invoke(main, ["resin", str(tmp_path)])
    assert told.exit_code == 0, told.output
    assert "Mix " in told.output
    assert (tmp_path / "results" / "resin.json").exists()


def test_a_pot_of_which_only_the_whole_is_known_is_not_split():
    told = "\n".join(plan_lines(plan_resin(panel(hardener_parts=None), Extras())))
    assert "resin and hardener together" in told
    assert "g hardener" not in told


def test_a_known_fill_time_is_not_called_unknown():
    unknown, known = plan_resin(panel(), Extras()), plan_resin(panel(), Extras(), fill=QUICK)
    assert any("wetline run" in note for note in unknown.notes)
    assert not any("wetline run" in note for note in known.notes)
