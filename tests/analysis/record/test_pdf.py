import re

from analysis.record.pdf import printable, wrap, write_pdf
from tests.made_up.answers import bare_answer, roof_cover
from tests.made_up.curves import make_panel
from tests.made_up.pages import PICTURES, SETTINGS, png


def pdf_pages(data):
    return len(re.findall(rb"/Type /Page\b", data))


def test_pdf_is_written_whole_and_is_the_same_each_time(tmp_path):
    answer = roof_cover(panel=make_panel(name="Roof cover 7 屋 $5$"))
    files = [tmp_path / "Läufe" / name for name in ("a.pdf", "b.pdf")]
    pages = [write_pdf(file, answer, PICTURES, SETTINGS) for file in files]
    data = [file.read_bytes() for file in files]
    assert data[0].startswith(b"%PDF-")
    assert data[0] == data[1]
    assert pages[0] == pdf_pages(data[0]) >= 3
    assert b"595.27" in data[0]  # A4 is 210 x 297 mm (ISO 216): 595.28 x 841.89 pt
    assert b"841.88" in data[0]


def test_pdf_of_nothing_known_and_of_very_much(tmp_path):
    few = write_pdf(tmp_path / "few.pdf", bare_answer(), {"curve": b"?"}, "")
    much = roof_cover(
        panel=make_panel(name="Roof cover 7 " * 20),
        warnings=tuple(f"warning {i} " + "word " * 40 for i in range(60)),
    )
    many = write_pdf(
        tmp_path / "many.pdf",
        much,
        {"front_lines": png((4000, 30)), "extra": png((30, 4000))},
        "a" * 900 + "\n" + "b\n" * 300,
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
