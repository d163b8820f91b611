import re
from dataclasses import replace

import pytest

from analysis.forecast.verdict import Judgement
from analysis.record.content import HEADLINES
from analysis.record.day.day_records import Day, Findings, Mark, StagePhoto
from analysis.record.day.mark_flow import MarkFlow
from analysis.record.day.stage_pictures import StagePicture
from analysis.record.render.html import report_html
from analysis.record.render.html_style import CLASSES, SYMBOLS
from analysis.record.story.filed import Filed
from analysis.record.story.report import panel_report
from tests.made_up.answers import bare_answer, roof_cover
from tests.made_up.curves import make_panel
from tests.made_up.pages import PICTURES, SETTINGS, Page, png
from vision.settings.event_log import Stamp


def report(answer=None, pictures=PICTURES, settings=SETTINGS, paper="A4", **more):
    told = {"version": "0.1.0"} | more
    return report_html(panel_report(answer or roof_cover(), pictures, settings, **told), paper)


def test_key_lines_of_the_page():
    words = Page(report(made="6 May 2031")).words
    start = words.index("Verdict: fills")
    assert words[start : start + 31] == [
        "Verdict: fills",
        "The part should fill before the resin gels.",
        "It takes 31 min of the 45 min there are.",
        "Fill time of the part: 31 min (95 %: 28 to 34 min)",
        "Working time: 45 min",
        "Permeability K, effective: 8.13 × 10⁻¹¹ m² (95 %: 7.60 to 10.20 × 10⁻¹¹ m²)",
        "Margin: 1.48",
        "1 warning: see Warnings",
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
    ]
    run = words.index("The run")
    assert words[run + 1 : run + 5] == [
        "The flow front on the photo, with the time of each line since resin start.",
        "Distance of the flow front against time: the measured points, the fit with its 95 % "
        "band, and when the part is full (95 %).",
        "Squared distance against time. Under Darcy's law the points lie on a straight line; "
        "a bend shows that something changed.",
        "The panel from straight above, and when the resin came to each spot.",
    ]
    fair = words.index("How fair was the test?")
    assert words[fair + 1 : fair + 20] == [
        "Race-tracking",
        "14 mm",
        "lead of the leading edge over the middle; limit 52 mm",
        "Dry spots",
        "1",
        "5.6 cm² at x 150, y 140 mm; limit 2 % of the wetted area",
        "Stall",
        "none seen",
        "Front reached",
        "352 mm",
        "not the far end",
        "Slowing beyond Darcy's law",
        "none that is clear",
        words[fair + 14],
        "Vacuum during the run",
        "not known",
        "no log and no readings: watch the gauge",
        "Frames used by the fit",
        "39 of 48",
    ]
    warned = words.index("Warnings")
    assert words[warned + 1] == "Frame 21 lies 25 mm off the curve & was not used."
    assert re.fullmatch(r"p 0\.\d\d; limit 0\.\d+", words[fair + 14])
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
        "Set-up",
        "The run",
        "How fair was the test?",
        "After demoulding",
        "Warnings",
        "What was assumed",
        "Cautions",
        "Settings (panel.toml)",
    ]
    places = [page.words.index(head) for head in heads]
    assert places == sorted(places)
    assert page.words.index("Verdict: fills") < places[0]
    assert page.tags.index("svg") < page.tags.index("table") < page.tags.index("img")


def test_every_verdict_has_its_words_its_shape_and_its_colour():
    for word in HEADLINES:
        text = report(roof_cover(judgement=Judgement(word, "r")))
        page = Page(text)
        assert f"Verdict: {word}" in page.words
        assert HEADLINES[word] in page.words
        assert SYMBOLS[word] in text
        assert f'class="verdict {CLASSES[word]}"' in text
    assert len(set(SYMBOLS.values())) == len(HEADLINES) == 5


def test_text_of_the_user_cannot_become_markup():
    nasty = '<script>alert("x")</script>&amp;'
    base = roof_cover(judgement=Judgement("tight", nasty), warnings=(nasty,))
    scale = replace(base.scale, method=nasty, assumption=nasty)
    answer = replace(base, panel=make_panel(name=nasty), tracked=replace(base.tracked, scale=scale))
    text = report(answer, {nasty: png()}, nasty, version=nasty, made=nasty, filed=_filed(nasty))
    page = Page(text)
    assert "script" not in page.tags
    assert sum(nasty in words for words in page.words) >= 16


def _filed(nasty):
    """A day in which every text is markup."""
    photo = StagePhoto("stages/x.jpg", "bag", "2031-05-06T09:00:00", "said", nasty)
    mark = MarkFlow(Mark("pit", 1.0, 2.0, nasty), None, None, None, nasty)
    found = Findings(surface="good", note=nasty)
    return Filed(
        day=Day(nasty, nasty, (photo,), found, (mark.mark,)),
        pictures=(StagePicture(photo, png(), nasty),),
        marks=(mark,),
        stamps=(Stamp(1.9e9, "note", nasty, nasty),),
        said={"date": nasty, "notes": nasty},
        hashes={nasty: "0" * 64},
    )


@pytest.mark.parametrize("filed", [None, _filed("<b>&")])
def test_the_page_is_valid_html(filed):
    # The parser of html5lib follows the WHATWG HTML standard; strict, it stops at any fault.
    text = report(filed=filed)
    html5lib = pytest.importorskip("html5lib", reason="the optional extra `check`")
    html5lib.HTMLParser(strict=True).parse(text)
    with pytest.raises(html5lib.html5parser.ParseError):
        html5lib.HTMLParser(strict=True).parse(text.replace("</table>", "", 1))


def test_a_word_in_a_table_head_is_never_broken_and_paper_is_as_asked():
    css = report(paper="letter").split("</style>")[0]
    assert "@page { size: letter;" in css
    assert "@page { size: A4;" in report().split("</style>")[0]
    head = re.search(r"thead th \{ (.*?) \}", css).group(1)
    assert "overflow-wrap: normal" in head
    assert "word-break: normal" in head
    assert "hyphens: none" in head


def test_nothing_known_still_gives_a_page_and_says_it_cannot_decide():
    page = Page(report(bare_answer(), {"curve": b"", "plan": b"not a picture"}))
    assert "Verdict: cannot decide" in page.words
    assert "img" not in page.tags
    assert page.words.count("not known") == 9  # who did it and which batch among them
    assert page.words.index("Value") + 1 == page.words.index("Flow length of the part")
    assert not re.search(r"\b(None|nan|inf|null)\b", " ".join(page.words))


def test_cautions_name_the_dangers():
    text = " ".join(Page(report()).words).lower()
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
