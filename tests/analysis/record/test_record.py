"""The files of one panel's record, and the band drawn around its fit."""

import io

import numpy as np
import pytest
from PIL import Image

from analysis.forecast.panel_json import answer_json
from analysis.record.record import curve_pictures, front_band, write_record
from tests.made_up.answers import TIMES, bare_answer, make_answer
from tests.made_up.curves import D_M2_S, edge_front_mm, make_panel
from vision.common.atomic_files import plain, read_json


def test_the_band_holds_the_law_and_grows_past_the_frames():
    band = front_band(make_answer().fit, 3000.0)
    truth_mm = 1000.0 * np.sqrt(D_M2_S * band.across)
    late = band.across > 20.0
    assert np.all((band.low <= truth_mm) & (truth_mm <= band.high) | ~late)
    assert np.all(np.diff(band.middle) >= 0)
    width = band.high - band.low
    assert width[-1] > 1.5 * np.interp(TIMES[-1] / 2, band.across, width)


def test_the_bands_width_is_that_of_refitted_noise():
    # Frames drawn again with other noise of the same size: the fitted front at 1500 s scatters
    # by about a quarter of the band's width (95 % is 3.92 standard deviations).
    rng = np.random.default_rng(8)
    ends = []
    for _ in range(16):
        x = edge_front_mm(TIMES) + rng.normal(0, 0.3, len(TIMES))
        ends.append(front_band(make_answer(x_mm=x).fit, 1500.0).middle[-1])
    band = front_band(make_answer().fit, 1500.0)
    scatter = np.std(ends, ddof=1)
    assert 0.5 * 3.92 * scatter < band.high[-1] - band.low[-1] < 4.0 * 3.92 * scatter


def test_pictures_of_an_answer():
    pictures = curve_pictures(make_answer())
    assert list(pictures) == ["curve", "squared"]
    for data in pictures.values():
        assert Image.open(io.BytesIO(data)).format == "PNG"
    assert curve_pictures(bare_answer()) == {}


def test_the_record_is_written_and_an_older_curve_taken_away(tmp_path):
    (tmp_path / "panel.toml").write_text('[panel]\nname = "cover"\n', encoding="utf-8")
    found = make_answer(make_panel(name="cover"))
    pictures = write_record(tmp_path, found, None)
    results = tmp_path / "results"
    assert read_json(results / "results.json") == plain(answer_json(found))
    assert (results / "curve.png").read_bytes() == pictures["curve"]
    assert "Verdict: fills" in (results / "report.html").read_text(encoding="utf-8")
    write_record(tmp_path, bare_answer(), None)
    assert not (results / "curve.png").exists()
    assert "Verdict: cannot decide" in (results / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("photo", [None, b"\xff\xd8\xff..."])
def test_front_lines_stand_first_where_there_is_a_photo(tmp_path, photo):
    (tmp_path / "panel.toml").write_text("", encoding="utf-8")
    names = list(write_record(tmp_path, make_answer(), photo))
    assert names == (["front_lines"] if photo else []) + ["curve", "squared"]
