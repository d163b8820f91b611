import io
import json
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

from analysis.record.content import (
    HEADLINES,
    assumptions_of,
    fairness_rows,
    interval,
    key_rows,
    verdict_of,
    warnings_of,
)
from analysis.record.html import build_report
from analysis.record.html_style import CLASSES, SYMBOLS
from analysis.record.pdf import printable, wrap, write_pdf

RESULTS = {
    "front": {
        "frames": 48,
        "frames_used": 41,
        "resin_start": "2031-05-06T09:12:00",
        "length_reached_mm": 352.4,
        "filled": False,
        "stalled_at_mm": None,
        "race_tracking_mm": 14.2,
        "dry_spots": [{"x_mm": 150.2, "y_mm": 139.7, "area_mm2": 560.0}],
        "warnings": ["Frame 21 lies 25 mm off the curve & was not used."],
    },
    "scale": {
        "method": "sheet",
        "mm_per_px": 0.5,
        "error_mm": 0.64,
        "assumption": "The sheet lies flat beside the panel.",
    },
    "permeability": {
        "model": "edge",
        "k_m2": 8.13e-11,
        "k_low_m2": 7.6e-11,
        "k_high_m2": 1.02e-10,
    },
    "fill": {
        "flow_length_mm": 450.0,
        "time_s": 1830.0,
        "time_low_s": 1690.0,
        "time_high_s": 2010.0,
        "longest_run_mm": 545.2,
    },
    "gel": {"gel_time_s": 3300.0, "working_time_s": 2700.0, "margin": 1.475},
    "verdict": {"verdict": "fills", "reason": "It takes 31 min of the 45 min there are."},
}
SUMMARY = {"Resin": "240 mPa·s at 22 °C", "Vacuum": "900 mbar"}
SETTINGS = '[panel]\nname = "Roof <cover> 7"\n'


def png(shape=(30, 40)):
    store = io.BytesIO()
    Image.fromarray(np.full((*shape, 3), 120, np.uint8)).save(store, format="PNG")
    return store.getvalue()


PICTURES = {
    "front_lines": png(),
    "curve": png(),
    "squared": png(),
    "plan": b"<svg xmlns='a'></svg>",
}
VOID = {"meta", "img", "br", "hr", "link", "input"}


class Page(HTMLParser):
    """Checks that tags nest, and keeps the text, the tags and the references."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.words, self.references = [], [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.references += [v for k, v in attrs if k in ("src", "href", "xlink:href", "action")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style" and data.strip():
            self.words.append(" ".join(data.split()))


def report(results=RESULTS, pictures=PICTURES, **more):
    settings = {"title": "Roof cover 7", "version": "0.1.0"} | more
    return build_report(results, pictures, SUMMARY, SETTINGS, **settings)


def nothing():
    return {
        name: dict.fromkeys(part, None) if isinstance(part, dict) else None
        for name, part in RESULTS.items()
    }


def test_key_lines_of_the_page():
    words = Page(report(made="6 May 2031")).words
    start = words.index("Verdict: fills")
    assert words[start : start + 34] == [
        "Verdict: fills",
        "The part should fill before the resin gels.",
        "It takes 31 min of the 45 min there are.",
        "Keep to this stack, this vacuum and this resin temperature on the part.",
        "Key numbers",
        "Value",
        "95 % interval or remark",
        "Flow length of the part",
        "450 mm",
        "as stated",
        "Fill time of the part",
        "31 min",
        "28 to 34 min",
        "Gel time",
        "55 min",
        "as stated",
        "Working time",
        "45 min",
        "time in which it must be full",
        "Margin",
        "1.48",
        "working time over fill time; above 1 it fills in time",
        "Longest run that fills in time",
        "545 mm",
        "Permeability K, effective",
        "8.13 × 10⁻¹¹ m²",
        "7.60 to 10.20 × 10⁻¹¹ m²",
        "The flow front on the photo, with the time of each line since resin start.",
        "Curve and fit",
        "Distance of the flow front against time: measured points, the fit and its 95 % band.",
        "Squared distance against time. Under Darcy's law the points lie on a straight line; "
        "a bend shows that something changed.",
        "The panel from straight above, and when the resin came to each spot.",
        "How fair was the test?",
        "Race-tracking",
    ]
    fair = words.index("How fair was the test?")
    assert words[fair + 1 : fair + 17] == [
        "Race-tracking",
        "14 mm",
        "lead of the leading edge over the middle",
        "Dry spots",
        "1",
        "5.6 cm² at x 150, y 140 mm",
        "Stall",
        "none seen",
        "Front reached",
        "352 mm",
        "not the far end",
        "Frames used by the fit",
        "41 of 48",
        "Warnings",
        "Frame 21 lies 25 mm off the curve & was not used.",
        "What was tested",
    ]
    text = " ".join(words)
    for part in ("0.6 mm", "printed scale sheet", "The sheet lies flat", "unsaturated"):
        assert part in text
    assert "Made with Wetline 0.1.0" in text
    assert 'name = "Roof <cover> 7"' in text


def test_the_page_needs_nothing_from_outside():
    text = report()
    page = Page(text)
    assert len(page.references) == 4
    assert all(reference.startswith("data:image/") for reference in page.references)
    assert not re.search(r"https?:|url\(|@import|<script|<link", text)


def test_the_verdict_stands_first_and_the_sections_in_order():
    page = Page(report())
    heads = [
        "Key numbers",
        "Curve and fit",
        "How fair was the test?",
        "What was assumed",
        "Cautions",
        "Notes after demoulding",
        "Settings (panel.toml)",
    ]
    places = [page.words.index(head) for head in heads]
    assert places == sorted(places)
    assert page.words.index("Verdict: fills") < places[0]
    assert page.tags.index("svg") < page.tags.index("table") < page.tags.index("img")


def test_every_verdict_has_its_words_its_shape_and_its_colour():
    for word in HEADLINES:
        text = report({"verdict": {"verdict": word, "reason": "r"}})
        page = Page(text)
        assert f"Verdict: {word}" in page.words
        assert HEADLINES[word] in page.words
        assert SYMBOLS[word] in text
        assert f'class="verdict {CLASSES[word]}"' in text
    assert len(set(SYMBOLS.values())) == len(HEADLINES) == 5


def test_text_of_the_user_cannot_become_markup():
    nasty = '<script>alert("x")</script>&amp;'
    results = {
        "verdict": {"verdict": "tight", "reason": nasty},
        "front": {"warnings": [nasty], "filled": nasty, "race_tracking_mm": nasty},
        "scale": {"method": nasty, "assumption": nasty},
    }
    text = build_report(
        results, {nasty: png()}, {nasty: nasty}, nasty, title=nasty, version=nasty, made=nasty
    )
    page = Page(text)
    assert "script" not in page.tags
    assert sum(nasty in words for words in page.words) >= 9


@pytest.mark.parametrize("results", [{}, nothing(), {"verdict": "no such word", "fill": 3}])
def test_nothing_known_still_gives_a_page_and_says_it_cannot_decide(results):
    page = Page(report(results, {"curve": b"", "plan": b"not a picture"}))
    assert "Verdict: cannot decide" in page.words
    assert "img" not in page.tags
    assert page.words.count("not known") >= 8
    assert page.words.index("Value") + 1 == page.words.index("Flow length of the part")
    assert not re.search(r"\b(None|nan|inf|null)\b", " ".join(page.words))


def test_plain_verdict_with_reason_beside_it_is_understood_too():
    verdict = verdict_of({"verdict": "gels first", "reason": "Too slow."})
    assert (verdict.word, verdict.reason) == ("gels first", "Too slow.")


def test_results_may_come_back_from_json():
    assert report(json.loads(json.dumps(RESULTS))) == report()


def test_point_feed_shows_both_permeabilities_and_the_angle():
    found = {
        "k1_m2": 3.1e-11,
        "k1_low_m2": 2.9e-11,
        "k1_high_m2": 3.4e-11,
        "k2_m2": 1.7e-11,
        "angle_deg": -35.2,
        "angle_low_deg": -37.0,
        "angle_high_deg": -33.0,
    }
    rows = {row.name: row for row in key_rows({"permeability": found})}
    assert rows["Permeability K1, along the long axis"].more == "2.90 to 3.40 × 10⁻¹¹ m²"
    assert rows["Permeability K2, across it"].value == "1.70 × 10⁻¹¹ m²"
    angle = rows["Direction of K1 from the panel's length"]
    assert (angle.value, angle.more) == ("-35 degrees", "-37 to -33 degrees")
    assert "Permeability K, effective" not in rows
    both = key_rows({"permeability": found | {"k_m2": 2.3e-11}})
    assert [row.value for row in both][-4:-2] == ["2.30 × 10⁻¹¹ m²", "3.10 × 10⁻¹¹ m²"]


def test_frames_used_are_those_of_the_fit_where_it_says():
    results = {
        "front": {"frames": 48, "frames_used": 44},
        "permeability": {"frames_used": 40},
    }
    assert fairness_rows(results)[-1].value == "40 of 48"


def test_a_fill_time_without_an_upper_end_says_so():
    fill = {"time_s": 500.0, "time_low_s": 420.0, "time_high_s": None}
    row = key_rows({"fill": fill})[1]
    assert (row.value, row.more) == ("8.3 min", "7.0 min or more")
    assert interval(None, "5", "mm") == "up to 5 mm"


def test_many_dry_spots_are_summed_up_and_a_limit_is_shown():
    spots = [{"x_mm": i, "y_mm": 1, "area_mm2": 100} for i in range(9)]
    front = {"dry_spots": spots, "race_tracking_mm": 40.0, "race_tracking_limit_mm": 20.0}
    race, dry = fairness_rows({"front": front})[:2]
    assert dry.value == "9"
    assert dry.more.endswith("; and 3 more")
    assert race.more == "lead of the leading edge over the middle; limit 20 mm"


def test_warnings_and_assumptions_come_once_each_from_every_part():
    results = {
        "warnings": ["a"],
        "front": {"warnings": ["b", "a"]},
        "vacuum": {"warnings": ["c"], "assumptions": ["d", "d"]},
        "scale": {"assumption": "e"},
    }
    assert warnings_of(results) == ["a", "b", "c"]
    assert assumptions_of(results)[:2] == ["d", "e"]


def test_cautions_name_the_dangers():
    text = " ".join(Page(report({})).words).lower()
    for danger in (
        "peroxide initiators injure eyes",
        "must never meet a promoter directly",
        "styrene vapour needs ventilation",
        "can overheat and burn",
        "glass plate under vacuum can break",
        "safety data sheets",
        "local codes",
        "licensed practice",
        "not a permit",
    ):
        assert danger in text


def pdf_pages(data):
    return len(re.findall(rb"/Type /Page\b", data))


def test_pdf_is_written_whole_and_is_the_same_each_time(tmp_path):
    files = [tmp_path / "Läufe" / name for name in ("a.pdf", "b.pdf")]
    pages = [
        write_pdf(file, RESULTS, PICTURES, SUMMARY, SETTINGS, title="Roof cover 7 屋 $5$")
        for file in files
    ]
    data = [file.read_bytes() for file in files]
    assert data[0].startswith(b"%PDF-")
    assert data[0] == data[1]
    assert pages[0] == pdf_pages(data[0]) >= 3
    assert b"595.27" in data[0]  # A4 is 210 x 297 mm (ISO 216): 595.28 x 841.89 pt
    assert b"841.88" in data[0]


def test_pdf_of_nothing_known_and_of_very_much(tmp_path):
    few = write_pdf(tmp_path / "few.pdf", {}, {"curve": b"?"}, {}, "", title="Roof cover 7")
    much = {"front": {"warnings": [f"warning {i} " + "word " * 40 for i in range(60)]}}
    many = write_pdf(
        tmp_path / "many.pdf",
        much,
        {"front_lines": png((4000, 30)), "extra": png((30, 4000))},
        {f"line {i}": "x" * 300 for i in range(20)},
        "a" * 900 + "\n" + "b\n" * 300,
        title="Roof cover 7 " * 20,
    )
    assert few <= 3
    assert 6 <= many == pdf_pages((tmp_path / "many.pdf").read_bytes())


def test_lines_are_broken_to_the_width_and_nothing_is_lost():
    text = "the resin gels before the part is full " * 4 + "w" * 300
    lines = wrap(text, 60.0, 9.0)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert len(lines) > 8
    assert max(len(line) for line in lines) < 50
    assert wrap("", 60.0, 9.0) == [""]


def test_letters_the_font_lacks_become_question_marks():
    assert printable("ü ≤ 屋根") == "ü ≤ ??"
