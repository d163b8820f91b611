"""A mark set on the wrong place is taken out, and nothing else changes."""

import pytest

from analysis.record.day.day_toml import read_day
from analysis.record.day.filing import add_mark, set_findings
from analysis.record.day.taking_out import take_out_mark
from vision.errors import WetlineError


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "panel.toml").write_text("[panel]\nlength_mm = 300\nwidth_mm = 160\n")
    return tmp_path


def test_a_mark_is_taken_out_and_all_else_stays(folder):
    for k, kind in enumerate(("pit", "bubble", "crease")):
        add_mark(folder, kind, 10.0 * k, 5.0)
    set_findings(folder, surface="fair")
    path = folder / "day.toml"
    path.write_text(path.read_text(encoding="utf-8") + "# my own line\n", encoding="utf-8")
    assert take_out_mark(folder, 2).kind == "bubble"
    day = read_day(folder)
    assert [mark.kind for mark in day.marks] == ["pit", "crease"]
    assert day.findings.surface == "fair"
    assert "# my own line" in path.read_text(encoding="utf-8")
    before = path.read_bytes()
    for number in (0, 3, -1):
        with pytest.raises(WetlineError, match="there are 2 marks"):
            take_out_mark(folder, number)
    assert path.read_bytes() == before


def test_a_mark_between_odd_lines_is_left_to_the_hand(folder):
    text = (
        '[findings]\nnote = """\n[[mark]]\nkind = 1"""\n'
        '[[mark]]\nkind = "pit"\nx_mm = 1\ny_mm = 2\n'
    )
    (folder / "day.toml").write_text(text, encoding="utf-8")
    assert len(read_day(folder).marks) == 1
    with pytest.raises(WetlineError, match="by hand"):
        take_out_mark(folder, 1)
    assert (folder / "day.toml").read_text(encoding="utf-8") == text
