"""The other unit in brackets, each by its definition.

Inch 25.4 mm and pound 0.45359237 kg exactly (international yard and pound agreement, 1959);
conventional inch of mercury 33.8639 mbar (NIST SP 811, B.8, from memory).
"""

import pytest

from analysis.record.content import TableRow
from analysis.record.story.blocks import Code, Table
from analysis.record.story.inches import both_units, report_in_inches
from analysis.record.story.report import panel_report
from tests.made_up.answers import roof_cover


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("254 mm", "254 mm (10.00 in)"),
        ("at 12.7 mm from it", "at 12.7 mm (0.500 in) from it"),
        ("100 to 200 mm", "100 to 200 mm (3.93 to 7.88 in)"),
        ("x 254, y 127 mm", "x 254, y 127 mm (x 10.00, y 5.00 in)"),
        ("2.10, 2.00 mm; 0.10 mm", "2.10, 2.00 mm (0.083, 0.079 in); 0.10 mm (0.004 in)"),
        ("front moved 25.4 mm/min", "front moved 25.4 mm/min (1.000 in/min)"),
        ("1000 mbar", "1000 mbar (29.53 inHg)"),
        ("0.85 kg", "0.85 kg (1.874 lb)"),
        ("5.6 cm², 30 mm², 300 mPa·s, 5 min", "5.6 cm², 30 mm², 300 mPa·s, 5 min"),
        ("1.1 kg/m3", "1.1 kg/m3"),
    ],
)  # fmt: skip
def test_each_way_a_value_is_written(text, told):
    assert both_units(text) == told


def test_ends_of_an_interval_are_rounded_away():
    # 100 mm is 3.937 in and 200 mm 7.874 in: the interval in inches must not be narrower.
    assert "3.93 to 7.88" in both_units("100 to 200 mm")


def test_settings_and_own_words_stay_as_they_are():
    answer = roof_cover()
    report = report_in_inches(panel_report(answer, {}, "length_mm = 400 mm"))
    code = next(b for s in report.sections for b in s.blocks if isinstance(b, Code))
    assert code.text == "length_mm = 400 mm"
    rows = [r for s in report.sections for b in s.blocks if isinstance(b, Table) for r in b.rows]
    assert TableRow("Flow length of the part", "450 mm (17.72 in)", "as stated") in rows
