import re
from dataclasses import replace

from analysis.forecast.verdict import Judgement
from analysis.record.content import HEADLINES
from analysis.record.html import build_report
from analysis.record.html_style import CLASSES, SYMBOLS
from tests.made_up.answers import bare_answer, roof_cover
from tests.made_up.curves import make_panel
from tests.made_up.pages import PICTURES, SETTINGS, Page, png


def report(answer=None, pictures=PICTURES, **more):
    return build_report(answer or roof_cover(), pictures, SETTINGS, **({"version": "0.1.0"} | more))


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
    assert words[fair + 1 : fair + 23] == [
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
        "Warnings",
        "Frame 21 lies 25 mm off the curve & was not used.",
        "What was tested",
    ]
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
    text = build_report(answer, {nasty: png()}, nasty, version=nasty, made=nasty)
    page = Page(text)
    assert "script" not in page.tags
    assert sum(nasty in words for words in page.words) >= 9


def test_nothing_known_still_gives_a_page_and_says_it_cannot_decide():
    page = Page(report(bare_answer(), {"curve": b"", "plan": b"not a picture"}))
    assert "Verdict: cannot decide" in page.words
    assert "img" not in page.tags
    assert page.words.count("not known") == 7
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
