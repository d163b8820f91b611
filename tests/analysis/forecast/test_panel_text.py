from analysis.forecast.panel_text import CAUTION, TextRow, answer_lines, answer_rows, text_lines
from analysis.panel.records import Resin
from analysis.record.content import key_rows
from tests.made_up.answers import make_answer
from tests.made_up.curves import make_front, make_panel


def test_lines_for_the_screen():
    lines = answer_lines(make_answer())
    assert 8 <= len(lines) <= 20
    text = "\n".join(lines)
    assert "FILLS" in text
    assert "600 mm in 3" in text
    assert "m2 (95 %:" in text


def test_many_warnings_still_fit_the_screen():
    front = make_front(warnings=tuple(f"trouble {i}" for i in range(40)))
    lines = answer_lines(make_answer(front=front))
    assert len(lines) <= 20
    assert any("more in results.json" in line for line in lines)


def test_rows_carry_label_text_and_what_goes_with_it():
    rows = answer_rows(make_answer())
    assert [row.label for row in rows[:4]] == ["Panel", "Verdict", "Permeability", "Fill time"]
    assert rows[1].text == "FILLS"
    assert rows[1].more[0].startswith("600 mm fills in")
    assert rows[-1] == TextRow("", CAUTION)
    assert answer_lines(make_answer()) == text_lines(rows)
    assert TextRow("Gel", "60 min", ("rough",)).lines == [
        "Gel:          60 min",
        "              rough",
    ]


def test_what_may_gel_first_heads_the_screen():
    found = make_answer(make_panel(resin=Resin(viscosity_pa_s=0.2, gel_time_s=2100.0)))
    assert found.verdict == "tight"
    assert answer_lines(found)[1] == "Verdict:      MAY GEL FIRST (TIGHT)"


def test_numbers_from_a_front_in_doubt_are_said_to_be_so_before_they_come():
    found = make_answer(front=make_front(doubts=("sun moved over the panel",)))
    rows = answer_rows(found)
    assert [row.label for row in rows[:4]] == ["Panel", "Verdict", "In doubt", "Permeability"]
    assert rows[1].text == "CANNOT DECIDE"
    assert "do not build on them" in rows[2].text
    assert key_rows(found)[0].value == "in doubt"
    assert "in doubt" not in [row.value for row in key_rows(make_answer())]
