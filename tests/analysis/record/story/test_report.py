"""What the report tells: sections in the day's order, and nothing where nothing is known."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.record.day.day_records import Day, Findings, Mark
from analysis.record.day.kept_results import Kept
from analysis.record.day.mark_flow import MarkFlow
from analysis.record.story.after_sections import finding_rows
from analysis.record.story.blocks import Blanks, Bullets, Grid, Picture, Table, Words
from analysis.record.story.filed import Filed, gather
from analysis.record.story.report import panel_report
from analysis.record.story.run_sections import MOST_ROWS, minute_rows
from analysis.record.story.shop_sections import sentence
from tests.made_up.answers import bare_answer, roof_cover
from tests.made_up.curves import make_curve
from tests.made_up.pages import png
from vision.settings.event_log import Stamp


def sections(filed=None, answer=None, **more):
    report = panel_report(answer or roof_cover(), {}, "[panel]\n", filed=filed, **more)
    return {section.name: section.blocks for section in report.sections}


def test_what_the_record_lacks_is_said():
    warned = sections(Filed())["Warnings"]
    missing = next(b for b in warned if isinstance(b, Bullets) and "Drawdown" in b.texts[0])
    assert [text.split(":")[0] for text in missing.texts] == [
        "Drawdown",
        "Mixing plan",
        "What to change (levers)",
        "Photos of stack, bag, drawdown, resin open, end of fill, demoulded face, demoulded back",
    ]
    told = sections(Filed())
    assert "Drawdown" not in told
    assert "Files it rests on (SHA-256)" not in told
    assert any(isinstance(block, Blanks) for block in told["After demoulding"])


def test_findings_as_filed_and_no_more():
    rows = finding_rows(Findings(surface="good", thickness_mm=(2.0, 2.2, 2.4), resin_left_kg=0.0))
    assert [(row.name, row.value) for row in rows] == [
        ("Surface", "good"),
        ("Thickness, mean", "2.20 mm"),
        ("Mixed resin left over", "0.000 kg"),
    ]
    assert rows[1].more == "2.00, 2.20, 2.40 mm; 0.40 mm apart"


def test_marks_stand_beside_what_the_front_did():
    mark = MarkFlow(Mark("pit", 210.0, 45.0, "by the tape"), 234.0, 24.0, 24.0, "wetted at 3.9 min")
    filed = Filed(day=Day(marks=(mark.mark,)), marks=(mark,))
    blocks = sections(filed)["After demoulding"]
    assert any(isinstance(block, Picture) for block in blocks)
    row = next(block for block in blocks if isinstance(block, Table)).rows[0]
    assert (row.name, row.value, row.more) == (
        "1. pit (by the tape)",
        "x 210, y 45 mm",
        "wetted at 3.9 min.",
    )


def test_stamps_count_from_resin_open_and_gauge_readings_too():
    stamps = (Stamp(1060.0, "note", "foam"), Stamp(1000.0, "resin open"))
    filed = Filed(stamps=stamps, readings=((940.0, 60.0), (1120.0, 65.0)))
    grids = [block for block in sections(filed)["The run"] if isinstance(block, Grid)]
    stamped, gauge = grids[-2:]
    assert [row[1:] for row in stamped.rows] == [("+0.0", "resin open"), ("+1.0", "note: foam")]
    assert gauge.rows == (("-1.0", "60"), ("+2.0", "65"))


def test_many_gauge_readings_are_thinned_and_that_is_said():
    filed = Filed(readings=tuple((10.0 * i, 50.0 + i) for i in range(100)))
    blocks = sections(filed)["The run"]
    assert any(isinstance(b, Words) and "one in 3 of 100" in b.text for b in blocks)
    grid = [block for block in blocks if isinstance(block, Grid)][-1]
    assert len(grid.rows) == 34


@pytest.mark.parametrize("last_s", [90.0, 1500.0, 30_000.0])
def test_the_table_by_the_minute_takes_frames_as_they_are(last_s):
    times = np.linspace(0.0, last_s, 60)
    curve = make_curve(times, 5.0 * np.sqrt(times), 0.5)
    curve = replace(curve, used=np.arange(60) != 59)
    rows = minute_rows(curve)
    assert 2 <= len(rows) <= MOST_ROWS + 2
    shown = np.array([float(row[0].removesuffix(" *")) * 60 for row in rows])
    off = np.abs(shown[:, None] - times[None, :]).min(axis=1)
    assert off.max() <= 3.1  # to a tenth of a minute
    assert rows[-1][0].endswith(" *")
    near = [int(np.argmin(np.abs(times - t))) for t in shown]
    told = [float(row[1]) for row in rows]
    np.testing.assert_allclose(told, curve.front_mean_mm[near], atol=0.06)
    assert rows[0][2] == "1.0"  # 1.96 times 0.5 mm


def test_a_minute_without_a_frame_is_left_out_and_what_is_unknown_is_a_dash():
    times = np.array([0.0, 60.0, 120.0, 600.0, 660.0])
    curve = make_curve(times, np.array([0.0, 50.0, np.nan, 150.0, 160.0]), 0.5)
    rows = minute_rows(curve)
    assert [row[0] for row in rows] == ["1.0", "2.0", "10.0", "11.0"]
    assert rows[1][1] == "–"


def test_a_forecast_under_an_unfair_verdict_says_what_it_is_worth():
    levers = [{"name": "media", "enough": True, "say": "twice as fast", "cost": "more resin"}]
    kept = Kept({"levers": levers, "room_to_spare": [], "reason": ""})
    answer = bare_answer("unfair test", "an edge raced")
    blocks = sections(Filed(forecast=kept), answer)["Forecast"]
    assert blocks[0].strong
    assert "The verdict is unfair test" in blocks[0].text
    assert blocks[1].rows[0].more == "twice as fast; price: more resin"


def test_a_stale_drawdown_shows_no_numbers():
    kept = Kept({"log_file": "dd.csv", "verdict": "go"}, stale=True)
    (words,) = sections(Filed(drawdown=kept))["Drawdown"]
    assert words.text == "dd.csv has changed since: run it again."


def test_an_unknown_hardener_is_a_question_mark_and_the_stop_stands_first():
    plan = {
        "alarms": ["how much of it is hardener is not known"],
        "items_kg": {"stack": 3.0},
        "total_kg": 3.0,
        "resin_kg": None,
        "hardener_kg": None,
        "pots": [{"number": 1, "hardener_kg": None, "mix_at_s": -300.0, "pour_by_s": 3599.0,
                  "mixed_kg": 3.0}],
        "notes": [],
        "cautions": ["mixed resin in bulk heats up"],
    }  # fmt: skip
    blocks = sections(Filed(resin=Kept(plan)))["Mixing plan"]
    assert blocks[0] == Words("Stop: how much of it is hardener is not known.", strong=True)
    grid = next(block for block in blocks if isinstance(block, Grid))
    assert grid.rows == (("1", "3.000", "?", "-5", "59"),)  # the time is rounded to the safe side
    assert blocks[-1].texts == ("Mixed resin in bulk heats up.",)


def test_numbers_with_the_verdict():
    report = panel_report(roof_cover(), {}, "")
    assert report.numbers[0] == "Fill time of the part: 31 min (95 %: 28 to 34 min)"
    assert report.numbers[-1] == "1 warning: see Warnings"
    assert panel_report(bare_answer(), {}, "").numbers == ()


def test_a_front_in_doubt_has_no_numbers_beside_its_verdict():
    sound = roof_cover()
    front = replace(sound.tracked.front, doubts=("the sun moved over the panel",))
    doubted = replace(sound, tracked=replace(sound.tracked, front=front))
    numbers = panel_report(doubted, {}, "").numbers
    assert not any(
        text.startswith(("Permeability", "Fill", "Working", "Margin")) for text in numbers
    )
    assert any(text.startswith("Margin") for text in panel_report(sound, {}, "").numbers)


def test_a_sentence_begins_large_and_ends():
    assert sentence("bag leaks.") == "Bag leaks."


def test_a_file_that_cannot_be_read_is_a_warning_and_not_a_lost_run(tmp_path):
    (tmp_path / "panel.toml").write_text("[panel]\n")
    (tmp_path / "day.toml").write_text("[findings]\nsurfac = 'good'\n")
    filed = gather(tmp_path, roof_cover())
    assert filed.day == Day()
    report = panel_report(roof_cover(), {}, "", filed=filed)
    warned = next(section for section in report.sections if section.name == "Warnings")
    assert "did you mean surface?" in warned.blocks[0].texts[0]
    assert report.numbers[-1] == "2 warnings: see Warnings"


def test_pen_marks_show_no_least_or_most():
    answer = roof_cover()
    answer = replace(
        answer, tracked=replace(answer.tracked, scale=replace(answer.scale, method="marks"))
    )
    grid = next(b for b in sections(Filed(), answer)["The run"] if isinstance(b, Grid))
    assert grid.head == ("min", "Front, mm", "±, mm")


def test_photos_of_notes_are_shown(tmp_path):
    (tmp_path / "panel.toml").write_text("[panel]\n")
    (tmp_path / "notes").mkdir()
    (tmp_path / "notes" / "n1.png").write_bytes(png())
    (tmp_path / "stamps.csv").write_text(
        "clock,kind,text,photo\n2031-05-06T09:12:00Z,note,foam,n1.png\n"
        "2031-05-06T09:13:00Z,note,more,gone.png\n"
    )
    filed = gather(tmp_path, roof_cover())
    assert list(filed.notes) == ["n1.png"]
    shown = [b for b in sections(filed)["The run"] if isinstance(b, Picture)]
    assert [picture.caption for picture in shown] == ["Photo n1.png."]


def test_without_a_front_no_caption_claims_one():
    report = panel_report(bare_answer(), {"front_lines": png()}, "")
    run = next(section for section in report.sections if section.name == "The run")
    assert run.blocks[0].caption == "The last photo. No front was measured."
