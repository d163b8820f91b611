"""The page of a comparison: whole, escaped, nothing from outside."""

import re
from html.parser import HTMLParser

from analysis.runs.compare.comparison import compare_panels
from analysis.runs.compare.html import build_page
from tests.made_up.facts import make_facts

VOID = {"meta", "img", "br", "link"}


class Nesting(HTMLParser):
    """Every tag that opens closes, in order."""

    def __init__(self):
        super().__init__()
        self.open, self.faults = [], []

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append(tag)


def test_page_stands_alone_and_is_well_nested():
    found = compare_panels([make_facts("<b>cover & lid</b>"), make_facts("c", 3e-10)])
    html = build_page(found, b"\x89PNG\r\n", "1.0")
    nesting = Nesting()
    nesting.feed(html)
    assert nesting.open == nesting.faults == []
    assert "<b>cover" not in html
    assert "&lt;b&gt;cover &amp; lid" in html
    assert not re.search(r'(src|href)="(?!data:)', html)
    assert 'name="viewport"' in html
    assert "m²" in html
    assert html.index("Most margin to gel") < html.index("Side by side") < html.index("Curves")
    assert build_page(found, b"\x89PNG\r\n", "1.0") == html
