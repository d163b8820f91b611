"""day.toml by hand: what is understood, what is refused, and what the refusal says."""

import pytest

from analysis.record.day.day_records import Day, Findings, Mark
from analysis.record.day.day_toml import read_day
from vision.errors import WetlineError

WHOLE = """
[day]
done_by = "Kim"
batch = "resin R-22"

[[photo]]
file = "stages/back.jpg"
stage = "demoulded back"
time = 2031-05-21T08:00:00
corners_px = [[900, 10], [10, 10], [10, 400], [900, 400]]

[[photo]]
file = "stages/bag.jpg"
stage = "bag"
time = "2031-05-20T09:00:00"
time_from = "photo"

[findings]
surface = "good"
pits = "few"
thickness_mm = [2.1, "2,0 mm", "0.08 in", 2.2, 2.1]
weight_kg = "850 g"
resin_left_kg = 0

[[mark]]
kind = "pit"
x_mm = "8.25 in"
y_mm = 45
note = "beside the tape"
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "panel.toml").write_text(
        '[panel]\nlength_mm = 400\nwidth_mm = "20 cm"\n', encoding="utf-8"
    )
    return tmp_path


def filed(folder, text):
    (folder / "day.toml").write_text(text, encoding="utf-8")
    return read_day(folder)


def test_no_file_is_an_empty_day(folder):
    assert read_day(folder) == Day()
    assert not Day().has_findings


def test_a_whole_day_is_read_in_the_order_of_the_day(folder):
    day = filed(folder, WHOLE)
    assert [photo.stage for photo in day.photos] == ["bag", "demoulded back"]
    assert day.photos[0].time == "2031-05-20T09:00:00"
    assert day.photos[1].time == "2031-05-21T08:00:00"
    assert day.photos[1].time_from == "said"
    assert (day.done_by, day.batch) == ("Kim", "resin R-22")
    assert day.findings.thickness_mm == pytest.approx((2.1, 2.0, 2.032, 2.2, 2.1))
    assert day.findings.weight_kg == pytest.approx(0.85)
    assert day.findings.resin_left_kg == 0.0
    assert day.findings.resin_used_kg is None
    assert day.marks == (Mark("pit", pytest.approx(209.55), 45.0, "beside the tape"),)
    assert day.has_findings
    assert not Day(findings=Findings()).has_findings


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[findings]\nsurfac = 'good'", "did you mean surface?"),
        ("[findings]\nsurface = 'god'", "did you mean good?"),
        ("[findigs]\nsurface = 'good'", "did you mean findings?"),
        ("[findings]\nweight_kg = '2 mm'", "must be a weight"),
        ("[findings]\nweight_kg = 850", 'write "850 g"'),
        ("[findings]\nthickness_mm = [2.1, 200]", "thickness_mm"),
        ("[findings]\nthickness_mm = 2.1", "must be a list"),
        ("[findings]\nresin_used_kg = -1", "must be at least 0"),
        ("[[mark]]\nkind = 'pitt'\nx_mm = 1\ny_mm = 1", "did you mean pit?"),
        ("[[mark]]\nkind = 'pit'\nx_mm = 1", r"\[mark 1\] y_mm = \(missing\)"),
        ("[[mark]]\nkind = 'pit'\nx_mm = 500\ny_mm = 1", "which is 400 mm long"),
        ("[[mark]]\nkind = 'pit'\nx_mm = 5\ny_mm = 210", "which is 200 mm wide"),
        ("[mark]\nkind = 'pit'", r"write \[\[mark\]\] above each"),
        ("[[photo]]\nfile = '../x.jpg'\nstage = 'bag'", "in the panel folder"),
        ("[[photo]]\nfile = 'x.jpg'\nstage = 'bagg'", "did you mean bag?"),
        ("[[photo]]\nfile = 'x.jpg'\nstage = 'bag'\ntime = 'noon'", "date and time"),
        (
            "[[photo]]\nfile='x.jpg'\nstage='bag'\ncorners_px=[[0,0],[0,9],[9,9],[9,0]]",
            "run clockwise",
        ),
        (
            "[[photo]]\nfile='x.jpg'\nstage='demoulded back'\ncorners_px=[[0,0],[9,0],[9,9],[0,9]]",
            "run anticlockwise",
        ),
        ("surface = 'good'", r"put it under \[findings\]"),
    ],
)
def test_what_cannot_be_is_refused_with_its_mend(folder, text, words):
    with pytest.raises(WetlineError, match=words) as told:
        filed(folder, text)
    assert "\n" not in str(told.value)


def test_an_unusual_weight_is_kept_once_confirmed(folder):
    heavy = "[findings]\nweight_kg = 250\n"
    with pytest.raises(WetlineError, match="if it is true"):
        filed(folder, heavy)
    assert filed(folder, heavy + 'confirmed = ["weight_kg"]').findings.weight_kg == 250


def test_photos_of_one_stage_stand_by_their_time(folder):
    rows = "".join(
        f'[[photo]]\nfile = "stages/{n}.jpg"\nstage = "bag"\ntime = "2031-05-20T{n}:00:00"\n'
        for n in (11, 10, 12)
    )
    assert [p.file for p in filed(folder, rows).photos] == [
        "stages/10.jpg",
        "stages/11.jpg",
        "stages/12.jpg",
    ]
