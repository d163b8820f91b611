import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.panel.panel_toml import read_panel
from analysis.panel.records import Resin
from analysis.panel.resin import activation_j_mol, arrhenius_factor, gel_time, halving_rule
from analysis.panel.viscosity import (
    at_shop_temperature,
    autocatalytic_log,
    castro_macosko,
    class_values,
    cup_viscosity,
    read_gel_log,
    read_viscosity_log,
    thickness_note,
    viscosity_factor,
)
from vision.errors import WetlineError

CM = {"a_pa_s": 10.3e-8, "energy_j_mol": 41_300.0, "gel_conversion": 0.65, "a": 1.5, "b": 1.0}


def test_castro_macosko_rise():
    # Castro and Macosko 1982, AIChE J. 28, 250; constants from memory: tests the arithmetic.
    alpha = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])
    rise = [1, 1.30641, 1.86849, 3.04734, 6.14397, 18.77778, 218.414]
    viscosity = castro_macosko(alpha, 25.0, **CM)
    assert_allclose(viscosity / viscosity[0], rise, rtol=1e-5)
    assert np.isinf(castro_macosko(np.array([0.65]), 25.0, **CM))[0]


@pytest.mark.parametrize(("celsius", "pa_s"), [(25.0, 1.7713), (40.0, 0.7975), (60.0, 0.3077)])
def test_castro_macosko_temperature(celsius, pa_s):
    assert castro_macosko(np.zeros(1), celsius, **CM)[0] == pytest.approx(pa_s, rel=1e-3)


def test_halving_rule():
    # Open composites guide: 25 min at 20 C is about 12 min at 30 C; exact halving 12.5.
    assert halving_rule(25.0, 20.0, 30.0) == 12.5
    assert halving_rule(25.0, 20.0, 10.0) == 50.0


@pytest.mark.parametrize(
    ("kcal_mol", "factor"), [(19.8, 3.07), (17.3, 2.66), (15.3, 2.38), (41.3 / 4.184, 1.75)]
)
def test_arrhenius_factors_over_ten_degrees(kcal_mol, factor):
    # Activation energies of Cheng 1994, J. Mater. Sci. 29, 721 (first three).
    assert 1 / arrhenius_factor(kcal_mol * 4184.0, 20.0, 30.0) == pytest.approx(factor, abs=0.006)


def test_doubling_in_ten_degrees_is_51_kj_mol():
    assert activation_j_mol(2.0, 20.0, 1.0, 30.0) == pytest.approx(51_220, rel=1e-4)


def test_two_gel_times_give_arrhenius_one_gives_the_rough_rule():
    one = Resin(gel_time_s=3600.0, gel_temperature_c=20.0, temperature_c=30.0)
    rough = gel_time(one)
    assert rough.rough
    assert rough.gel_s == pytest.approx(1800.0)
    assert rough.relative_sd > one.gel_sd
    two = Resin(
        gel_time_s=3600.0, gel_temperature_c=20.0, temperature_c=30.0, gel_second=(1200.0, 30.0)
    )
    known = gel_time(two)
    assert not known.rough
    assert known.gel_s == pytest.approx(1200.0)
    assert known.working_s == pytest.approx(840.0)
    assert gel_time(Resin()) is None


def test_viscosity_is_carried_to_the_shop():
    resin = Resin(
        viscosity_pa_s=0.2,
        viscosity_temperature_c=25.0,
        viscosity_second=(0.1, 35.0),
        temperature_c=35.0,
    )
    carried, note = at_shop_temperature(resin)
    assert carried.viscosity_pa_s == pytest.approx(0.1)
    assert "25 to 35 C" in note
    assert "rough" not in note
    assert viscosity_factor(carried, 25.0)[0] == pytest.approx(2.0)
    guess, note = at_shop_temperature(
        Resin(viscosity_pa_s=0.2, viscosity_temperature_c=25.0, temperature_c=15.0)
    )
    assert guess.viscosity_pa_s > 0.3
    assert "rough" in note
    assert guess.viscosity_sd > 0.1


def test_autocatalytic_rise_starts_as_told_and_runs_away_at_gel():
    log = autocatalytic_log(0.2, 3600.0, 600.0)
    assert log.value[0] == pytest.approx(0.2)
    assert np.all(np.diff(log.value) > 0)
    assert log.time_s[-1] == pytest.approx(0.995 * 3000.0)
    assert log.value[-1] > 10.0


def test_cup_readings(tmp_path):
    # ISO 2431 flow cup, 4 mm: nu = 1.37 t - 200 / t (from memory).
    assert cup_viscosity(np.array(60.0), 4, 1100.0) == pytest.approx(
        (1.37 * 60 - 200 / 60) * 1.1e-3
    )
    path = tmp_path / "cup.csv"
    path.write_text("time_min,cup_4mm_s\n0,60\n10,80\n")
    log = read_viscosity_log(path, 1100.0)
    assert_allclose(log.time_s, [0, 600])
    assert log.value[0] == pytest.approx(0.08675, rel=1e-3)
    path.write_text("time_min,cup_4mm_s\n0,5\n")
    with pytest.raises(WetlineError, match="too short for this cup"):
        read_viscosity_log(path)


def test_gel_test_log(tmp_path):
    path = tmp_path / "gel.csv"
    path.write_text("time_min,gelled\n0,0\n30,0\n40,0\n44,1\n50,1\n")
    gel_s, sd = read_gel_log(path)
    assert gel_s == pytest.approx(42 * 60)
    assert sd == pytest.approx(2 / np.sqrt(3) / 42)
    path.write_text("time_min,gelled\n0,0\n30,0\n")
    with pytest.raises(WetlineError, match="0 to 1"):
        read_gel_log(path)


def test_generic_classes_have_ranges_not_products():
    resin = class_values(Resin(), "thin epoxy")
    # Summerscales, University of Plymouth: 100 to 300 mPa s for infusion at the start.
    assert 0.1 < resin.viscosity_pa_s < 0.3
    assert np.exp(2 * resin.viscosity_sd) * resin.viscosity_pa_s == pytest.approx(0.3, rel=1e-6)
    assert class_values(Resin(viscosity_pa_s=0.25), "polyester").viscosity_pa_s == 0.25


def test_thick_resin_is_questioned():
    # 800 mPa s as upper limit, 1000 as the end (Summerscales, University of Plymouth).
    assert thickness_note(0.25) == ""
    assert "is thick" in thickness_note(0.6)
    assert "too thick" in thickness_note(0.9)


def test_panel_file_with_class_rise_and_gel_log(tmp_path):
    (tmp_path / "gel.csv").write_text("time_min,gelled\n0,0\n38,0\n42,1\n")
    (tmp_path / "panel.toml").write_text(
        '[panel]\nlength_mm = 500\n[resin]\nclass = "thin epoxy"\ngel_log = "gel.csv"\n'
        'viscosity_rise = "autocatalytic"\n'
    )
    panel = read_panel(tmp_path)
    assert panel.resin.gel_time_s == pytest.approx(2400.0)
    assert panel.resin.viscosity_log.value[-1] > 1.0
    assert any("measure yours" in note for note in panel.notes)
