import pytest

from vision.common.quantity import LENGTH_MM, SHARE, TIME_MIN, VISCOSITY_MPAS
from vision.common.toml_table import Table, length_mm, read_toml, refuse_unknown_tables
from vision.errors import WetlineError

FIELDS = {"panel": ("length_mm",), "resin": ("viscosity_mpas", "viscosity_doubling_min")}


def table(folder, **values):
    return Table(folder / "panel.toml", "resin", values)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[panel]\nname = Roof\n", 'line 2: `name = Roof`: put words in quotes: name = "Roof"'),
        ("[panel\nlength_mm = 3\n", "line 1: `.panel`: write a table's name in brackets"),
        ("length 400\n", "line 1: `length 400`: write name = value"),
        ("a = [1, 2\n\n", "line 1: the file ends too soon: close every quote and bracket"),
        ('name = "Roof\nlength_mm = 3\n', "line 1: `name = .Roof`: close every quote"),
        ("porosity = 0,48\n", "write a decimal point, or put the value in quotes"),
        ("[panel]\nlength_mm = 40 in\n", "put a value with its unit in quotes"),
        ("[panel]\nlength_mm =   # along\n", "write the value behind the ="),
        ("name = “Roof”\n", "write straight quotes"),
        ('source = "C:\\\\photos\\run"\n'.replace("\\\\", "\\"), "write / in place of"),
        ("centres_printed = True\n", "true or false in small letters"),
        ("[panel]\nname = 'a'\nname = 'b'\n", "stands twice: keep one of the two"),
        ("[panel]\n[resin]\n[panel]\n", "stands twice: keep one of the two"),
    ],
)
def test_toml_errors_name_the_line_and_the_mend(tmp_path, text, message):
    (tmp_path / "panel.toml").write_text(text, encoding="utf-8")
    with pytest.raises(WetlineError, match=message) as caught:
        read_toml(tmp_path / "panel.toml")
    assert "\n" not in str(caught.value)


def test_fields_are_checked_with_their_names(tmp_path):
    one = Table(tmp_path / "panel.toml", "panel", {"length_mm": -5, "name": 3, "p": [[1, 2]]})
    for call, message in [
        (lambda: one.length("length_mm", above=0), r"\[panel\] length_mm = -5: must be above 0"),
        (lambda: one.text("name"), "must be text in quotes"),
        (lambda: one.points("p", 4), "must be a list of 4 pairs"),
        (lambda: one.refuse_unknown(("name",)), "is not a known field"),
    ]:
        with pytest.raises(WetlineError, match=message):
            call()


@pytest.mark.parametrize(("text", "mm"), [("1,5 m", 1500.0), ('12"', 304.8), ("3 ft", 914.4)])
def test_lengths_with_units(text, mm):
    # 1 in = 25.4 mm and 1 ft = 304.8 mm exactly (international yard and pound agreement, 1959).
    assert length_mm(text) == pytest.approx(mm)


def test_a_misspelt_field_is_an_error_with_the_nearest_name(tmp_path):
    for name, hint in [
        ("viscosity_doublng_min", "did you mean viscosity_doubling_min"),
        ("Viscosity_mPas", "did you mean viscosity_mpas"),
        ("confimed", "did you mean confirmed"),
        ("colour", "known are viscosity_doubling_min, viscosity_mpas"),
        ("length_mm", r"belongs under \[panel\]"),
    ]:
        with pytest.raises(WetlineError, match=hint):
            table(tmp_path, **{name: 3}).refuse_unknown(FIELDS["resin"], FIELDS)


def refused_entry(*_, **__):
    raise PermissionError(13, "Permission denied")


def test_a_file_that_may_not_be_opened_is_not_blamed_on_its_letters(tmp_path, monkeypatch):
    path = tmp_path / "panel.toml"
    path.write_bytes(b"[panel]\nname = '\xfc'\n")
    with pytest.raises(WetlineError, match="save it as UTF-8"):
        read_toml(path)
    monkeypatch.setattr("vision.common.outside.toml_file.read_text", refused_entry)
    with pytest.raises(WetlineError, match=r"\(Permission denied\): look at .*your rights to it"):
        read_toml(path)


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ({"resn": {}}, r"\[resn\] = a table: is not a known table; did you mean resin"),
        ({"weather": {}}, "known are panel, resin"),
        ({"viscosity_mpas": 3}, r"stands in no table: put it under \[resin\]"),
        ({"sun": 3}, "put it under the table it belongs to"),
    ],
)
def test_tables_nobody_reads(tmp_path, document, message):
    with pytest.raises(WetlineError, match=message):
        refuse_unknown_tables(tmp_path / "panel.toml", document, FIELDS)
    refuse_unknown_tables(tmp_path / "panel.toml", {"panel": {}}, FIELDS)


def test_units_are_understood_and_said(tmp_path):
    one = table(tmp_path, viscosity_mpas="0.3 Pa s", gel_time_min=60, porosity="48 %")
    assert one.quantity("viscosity_mpas", VISCOSITY_MPAS) == pytest.approx(300)
    assert one.quantity("gel_time_min", TIME_MIN) == 60
    assert one.quantity("porosity", SHARE) == pytest.approx(0.48)
    assert one.quantity("missing", SHARE, 0.5) == 0.5
    assert one.understood == [
        '[resin] viscosity_mpas = "0.3 Pa s": 300 mPa s',
        '[resin] porosity = "48 %": 0.48',
    ]


def test_an_unlikely_value_is_questioned_with_what_it_may_mean(tmp_path):
    one = table(tmp_path, viscosity_mpas=0.2)
    assert one.quantity("viscosity_mpas", VISCOSITY_MPAS, likely=(20, 3000)) == 0.2
    (asked,) = one.questions
    assert "understood as 0.2 mPa s; 20 mPa s to 3000 mPa s is usual" in asked
    assert 'write "0.2 Pa s" or "0.2 P" if that is meant' in asked
    assert 'write confirmed = ["viscosity_mpas"] under [resin]' in asked


def test_an_unlikely_value_can_be_confirmed(tmp_path):
    one = table(tmp_path, viscosity_mpas=1, confirmed=["viscosity_mpas"])
    one.refuse_unknown(FIELDS["resin"])
    one.quantity("viscosity_mpas", VISCOSITY_MPAS, likely=(20, 3000))
    assert one.questions == []
    assert one.confirmed == ["[resin] viscosity_mpas = 1: unusual, confirmed by the user"]


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (["viscosity_mpa"], "viscosity_mpa is no field of .resin.; did you mean viscosity_mpas"),
        (True, "must list the fields meant"),
    ],
)
def test_confirmed_names_real_fields(tmp_path, value, message):
    with pytest.raises(WetlineError, match=message):
        table(tmp_path, confirmed=value).refuse_unknown(FIELDS["resin"])


def test_an_impossible_value_is_refused_with_what_it_may_mean(tmp_path):
    one = Table(tmp_path / "panel.toml", "part", {"flow_length_mm": 1.2, "name": "lid"})
    with pytest.raises(WetlineError, match=r'must be at least 10; write "1.2 m" or "1.2 cm"'):
        one.quantity("flow_length_mm", LENGTH_MM, at_least=10, likely=(10, 5000))
    with pytest.raises(WetlineError, match="did you mean edge"):
        Table(tmp_path / "panel.toml", "panel", {"flow": "egde"}).text(
            "flow", choices=("edge", "point")
        )
