import pytest

from vision.common import quantity as q


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        # Exact by definition: 1 in = 25.4 mm, 1 ft = 304.8 mm, 1 lb = 0.45359237 kg
        # (international yard and pound agreement, 1959).
        ("40 in", q.LENGTH_MM, 1016.0),
        ('12"', q.LENGTH_MM, 304.8),
        ("3 ft", q.LENGTH_MM, 914.4),
        ("1,5 m", q.LENGTH_MM, 1500.0),
        ("2 lb", q.MASS_KG, 0.90718474),
        ("16 ft2", q.AREA_M2, 16 * 0.09290304),
        # NIST Special Publication 811, appendix B.8 (from memory): conventional inch of mercury
        # 3386.389 Pa, conventional millimetre of mercury 133.3224 Pa, torr 133.3224 Pa, pound-force
        # per square inch 6894.757 Pa, poise 0.1 Pa s, ounce per square yard 0.03390575 kg/m2,
        # pound per cubic foot 16.01846 kg/m3.
        ("1 inHg", q.PRESSURE_MBAR, 33.86389),
        ("1 mmHg", q.PRESSURE_MBAR, 1.333224),
        ("1 torr", q.PRESSURE_MBAR, 1.333224),
        ("1 psi", q.PRESSURE_MBAR, 68.94757),
        ("1 bar", q.PRESSURE_MBAR, 1000.0),
        ("93 kPa", q.PRESSURE_MBAR, 930.0),
        ("3 P", q.VISCOSITY_MPAS, 300.0),
        ("0,3 Pa·s", q.VISCOSITY_MPAS, 300.0),
        ("300 mPa*s", q.VISCOSITY_MPAS, 300.0),
        ("300 cP", q.VISCOSITY_MPAS, 300.0),
        ("1 oz/yd²", q.AREAL_G_M2, 33.90575),
        ("1 lb/ft3", q.DENSITY_KG_M3, 16.01846),
        ("1.1 g/cm³", q.DENSITY_KG_M3, 1100.0),
        # Fixed points of the scales: water freezes at 32 F = 0 C = 273.15 K and boils at 212 F.
        ("32 F", q.TEMPERATURE_C, 0.0),
        ("212 °F", q.TEMPERATURE_C, 100.0),
        ("273.15 K", q.TEMPERATURE_C, 0.0),
        ("-5 °C", q.TEMPERATURE_C, -5.0),
        ("1.5 h", q.TIME_MIN, 90.0),
        ("90 s", q.TIME_MIN, 1.5),
        ("40 min", q.DURATION_S, 2400.0),
        ("48 %", q.SHARE, 0.48),
        ("0.48", q.SHARE, 0.48),
        ("70 %", q.PERCENT, 70.0),
        ("2e-10", q.PERMEABILITY_M2, 2e-10),
        (".5 mm", q.LENGTH_MM, 0.5),
    ],
)
def test_units_as_a_shop_writes_them(text, kind, value):
    assert q.read_quantity(text, kind) == pytest.approx(value, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "kind", "message"),
    [
        ("1,200 mm", q.LENGTH_MM, "may be 1200 or 1.200"),
        ("wide", q.LENGTH_MM, "must be a length in mm, m, cm, in or ft"),
        ("40 inch wide", q.LENGTH_MM, "has the unit inch wide"),
        ("200-300 mPas", q.VISCOSITY_MPAS, "has the unit -300 mPas"),
        ("5 m", q.TIME_MIN, "has the unit m: must be a time in s, min or h"),
        ("1 200 mm", q.LENGTH_MM, "has the unit 200 mm"),
        (True, q.LENGTH_MM, "must be a length"),
        ([3], q.LENGTH_MM, "must be a length"),
        (float("nan"), q.LENGTH_MM, "must be a finite number"),
        (float("inf"), q.LENGTH_MM, "must be a finite number"),
        ("1e999", q.LENGTH_MM, "must be a finite number"),
        (40, q.DURATION_S, "needs its unit"),
        ("40", q.DURATION_S, "needs its unit"),
        ("", q.LENGTH_MM, "must be a length"),
        ("0.3 mbar", q.VISCOSITY_MPAS, "has the unit mbar"),
    ],
)
def test_what_is_not_clear_is_refused(value, kind, message):
    with pytest.raises(ValueError, match=message):
        q.read_quantity(value, kind)


def test_other_units_that_would_make_it_likely():
    assert q.other_units(0.2, q.VISCOSITY_MPAS, (20, 3000)) == ["0.2 Pa s", "0.2 P"]
    assert q.other_units(72, q.TEMPERATURE_C, (5, 50)) == ["72 F"]
    assert q.other_units(295, q.TEMPERATURE_C, (5, 50)) == ["295 K"]
    assert q.other_units(1.1, q.DENSITY_KG_M3, (850, 1500)) == ["1.1 g/cm3"]
    assert q.other_units(400, q.LENGTH_MM, (50, 20_000))[0] == "400 mm"


@pytest.mark.parametrize(("text", "number"), [("12,5", 12.5), ("-3", -3.0), ("1.2E-3", 0.0012)])
def test_plain_numbers(text, number):
    assert q.plain_number(text) == number


@pytest.mark.parametrize("text", ["12 mm", "nan", "", "1_000", "0x10", "1,000"])
def test_no_plain_number(text):
    with pytest.raises(ValueError, match=r"must be|may be"):
        q.plain_number(text)
