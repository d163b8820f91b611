"""The words of the table."""

import csv
import io

from analysis.panel.records import Media, Stack
from analysis.runs.compare.comparison import compare_panels
from analysis.runs.compare.rows import difference_lines, table_rows
from analysis.runs.compare.store import comparison_csv
from tests.made_up.curves import make_front
from tests.made_up.facts import make_facts


def test_rows_have_a_cell_for_each_panel_and_units():
    found = compare_panels([make_facts("a"), make_facts("b", 2e-10, pen=True), make_facts("c")])
    rows = {row.name: row.cells for row in table_rows(found)}
    assert all(len(cells) == 3 for cells in rows.values())
    assert rows["Permeability K"][1].text.endswith("e-10 m2")
    assert rows["600 mm fill in, as run"][0].text.endswith(" min")
    assert [cell.text for cell in rows["Edge ahead of the middle"]] == ["0 mm", "not seen", "0 mm"]
    assert rows["Resin taken"][0].text == "1.65 kg/m2"
    assert "Flow media" not in rows


def test_flow_media_stand_in_the_table_where_there_are_some():
    media = Stack(porosity=0.5, thickness_m=0.003, media=Media(0.0011, lead_m=0.01))
    found = compare_panels([make_facts("a"), make_facts("b", 4e-10, stack=media)])
    rows = {row.name: [cell.text for cell in row.cells] for row in table_rows(found)}
    assert rows["Flow media"] == ["none", "1.1 mm thick"]


def test_many_pairs_are_told_by_the_real_ones():
    ks = [1e-10, 1.02e-10, 1.04e-10, 1.06e-10, 5e-10]
    found = compare_panels([make_facts(str(i), k) for i, k in enumerate(ks)])
    line = difference_lines(found)[0]
    assert "E 4.99 times A, REAL" in line
    assert "A-B, A-C, A-D, B-C, B-D, C-D not proven" in line


def test_table_for_a_spreadsheet():
    raced = make_facts("raced", front=make_front(race_tracking_mm=200.0))
    found = compare_panels([make_facts("a, with comma"), raced, make_facts("p", pen=True)])
    rows = list(csv.DictReader(io.StringIO(comparison_csv(found))))
    assert [row["panel"] for row in rows] == ["A", "B", "C"]
    assert rows[0]["name"] == "a, with comma"
    assert float(rows[0]["k_low_m2"]) < float(rows[0]["k_m2"]) < float(rows[0]["k_high_m2"])
    assert "raced 200 mm" in rows[1]["left_out"]
    assert rows[2]["race_tracking_mm"] == ""
    assert rows[0]["uptake_weighed"] == "no"
