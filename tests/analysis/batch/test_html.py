"""The page of a batch: every panel, its report linked, nothing from outside."""

import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

from analysis.batch.batch import Batch
from analysis.batch.html import summary_page
from analysis.batch.one_panel import DONE, FAILED, Outcome

ANSWER = {"verdict": {"verdict": "fills", "reason": "in <time>"}, "warnings": ["one"]}


def page_of(root, *outcomes):
    places = {outcome.folder: Path(outcome.folder) for outcome in outcomes}
    return summary_page(Batch(root, outcomes, places, False, 1.0), "1.2")


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open = []

    def handle_starttag(self, tag, attrs):
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_reports_are_linked_from_where_the_page_stands(tmp_path):
    folder = tmp_path / "week 1" / "a#1"
    (folder / "results").mkdir(parents=True)
    (folder / "results" / "report.html").write_text("")
    page = page_of(tmp_path, Outcome("week 1/a#1", DONE, answer=ANSWER))
    (link,) = re.findall(r'href="([^"]+)"', page)
    assert (tmp_path / "results" / unquote(link)).resolve() == folder / "results" / "report.html"


def test_no_report_is_linked_where_the_panel_failed(tmp_path):
    (tmp_path / "a" / "results").mkdir(parents=True)
    (tmp_path / "a" / "results" / "report.html").write_text("of an earlier run")
    page = page_of(tmp_path, Outcome("a", FAILED, "no <frames>"))
    assert "href" not in page
    assert "no &lt;frames&gt;" in page


def test_tags_close_and_nothing_is_fetched(tmp_path):
    page = page_of(tmp_path, Outcome("a", DONE, answer=ANSWER), Outcome("<b>", FAILED, "x"))
    tags = Tags()
    tags.feed(page)
    assert tags.open == []
    assert "<b>" not in page
    assert "in &lt;time&gt;" in page
    assert not re.search(r"(src|href)=\"?(https?:)?//|@import|url\(", page)
    assert "not a permit" in page
