from analysis.forecast.panel_text import answer_lines
from tests.made_up.answers import make_answer
from tests.made_up.curves import make_front


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
