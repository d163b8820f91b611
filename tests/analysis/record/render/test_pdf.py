import io
import re

import numpy as np
import pytest
from PIL import Image

from analysis.record.content import TableRow
from analysis.record.render.pdf import write_pdf
from analysis.record.render.pdf_sheet import Sheet, settings_mm
from analysis.record.render.pdf_text import printable, wrap
from analysis.record.story.filed import Filed
from analysis.record.story.report import panel_report
from tests.made_up.answers import bare_answer, roof_cover
from tests.made_up.curves import make_panel
from tests.made_up.pages import PICTURES, SETTINGS, png


def written(path, answer, pictures=PICTURES, settings=SETTINGS, paper="A4", **more):
    return write_pdf(path, panel_report(answer, pictures, settings, **more), paper)


def pdf_pages(data):
    return len(re.findall(rb"/Type /Page\b", data))


def test_pdf_is_written_whole_and_is_the_same_each_time(tmp_path):
    answer = roof_cover(panel=make_panel(name="Roof cover 7 屋 $5$"))
    files = [tmp_path / "Läufe" / name for name in ("a.pdf", "b.pdf")]
    pages = [written(file, answer) for file in files]
    data = [file.read_bytes() for file in files]
    assert data[0].startswith(b"%PDF-")
    assert data[0] == data[1]
    assert pages[0] == pdf_pages(data[0]) >= 3
    assert b"595.27" in data[0]  # A4 is 210 x 297 mm (ISO 216): 595.28 x 841.89 pt
    assert b"841.88" in data[0]


def test_pdf_of_nothing_known_and_of_very_much(tmp_path):
    few = written(tmp_path / "few.pdf", bare_answer(), {"curve": b"?"}, "")
    much = roof_cover(
        panel=make_panel(name="Roof cover 7 " * 20),
        warnings=tuple(f"warning {i} " + "word " * 40 for i in range(60)),
    )
    many = written(
        tmp_path / "many.pdf",
        much,
        {"front_lines": png((4000, 30)), "extra": png((30, 4000))},
        "a" * 900 + "\n" + "b\n" * 300,
    )
    assert few <= 3
    assert 6 <= many == pdf_pages((tmp_path / "many.pdf").read_bytes())


def page_of(sheet, words):
    return [k for k, page in enumerate(sheet.pages) if words in [t.get_text() for t in page.texts]]


@pytest.mark.parametrize("room_mm", [12.0, 16.0, 20.0, 24.0])
def test_no_head_stands_alone_at_the_foot(room_mm):
    sheet = Sheet("Roof cover", "1")
    sheet.top_mm = sheet.bottom_mm - room_mm
    sheet.table([TableRow("pit", "x 1 mm", "slow " * 30)], ("Found", "Where", "What"))
    assert page_of(sheet, "Found") == page_of(sheet, "pit")
    assert len(page_of(sheet, "Found")) == 1


def test_the_heading_of_the_settings_stays_with_them():
    sheet = Sheet("Roof cover", "1")
    text = "\n".join(f"a = {k}" for k in range(60))
    sheet.top_mm = sheet.bottom_mm - 40.0
    sheet.heading("Settings", settings_mm(text))
    sheet.settings(text)
    assert page_of(sheet, "Settings") == page_of(sheet, "a = 0") == [1]


def test_lines_are_broken_to_the_width_and_nothing_is_lost():
    text = "the resin gels before the part is full " * 4 + "w" * 300
    lines = wrap(text, 60.0, 9.0)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert len(lines) > 8
    assert max(len(line) for line in lines) < 50
    assert wrap("", 60.0, 9.0) == [""]


def test_letters_the_font_lacks_become_question_marks():
    assert printable("ü ≤ 屋根") == "ü ≤ ??"


@pytest.mark.parametrize(("paper", "size_mm"), [("A4", (210, 297)), ("letter", (215.9, 279.4))])
def test_text_can_be_read_back_on_either_paper(tmp_path, paper, size_mm):
    # A4: ISO 216. Letter: 8.5 x 11 in (ANSI/ASME Y14.1, from memory). Read back by pypdf.
    path = tmp_path / "report.pdf"
    filed = Filed(hashes={f"frames/photo_{i}.jpg": f"{i:064x}" for i in range(60)})
    pages = written(path, roof_cover(), paper=paper, version="0.1.0", filed=filed)
    pypdf = pytest.importorskip("pypdf", reason="the optional extra `check`")
    read = pypdf.PdfReader(path)
    assert len(read.pages) == pages
    texts = [page.extract_text() for page in read.pages]
    for number, (page, text) in enumerate(zip(read.pages, texts, strict=True), 1):
        box = [float(side) * 25.4 / 72 for side in (page.mediabox.width, page.mediabox.height)]
        assert box == pytest.approx(size_mm, abs=0.2)
        assert f"page {number} of {pages}" in text
        assert "Roof cover 7" in text
    assert texts[0].index("Verdict: fills") < texts[0].index("Fill time of the part: 31 min")
    whole = "\n".join(texts)
    assert "8.13 × 10⁻¹¹ m²" in whole
    for i in range(60):
        assert f"{i:064x}" in whole
    assert "licensed practice" in " ".join(whole.split())


def test_a_photo_does_not_make_the_file_large(tmp_path):
    noise = np.random.default_rng(3).integers(0, 255, (1500, 2000, 3)).astype(np.uint8)
    store = io.BytesIO()
    Image.fromarray(noise).save(store, "JPEG")
    written(tmp_path / "a.pdf", roof_cover(), {"front_lines": store.getvalue()})
    assert (tmp_path / "a.pdf").stat().st_size < 900_000
