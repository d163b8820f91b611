"""The page on a run."""

from dataclasses import replace

from analysis.infusion.answer.run_page import LIMITS, page
from tests.made_up.infusion_answers import late_run


def test_the_page_says_all_rows_and_lets_no_name_in_as_html(tmp_path):
    run = late_run(tmp_path)
    run = replace(run, planned=replace(run.planned, name="<b>cover</b>"))
    text = page(run, [])
    assert "<b>cover</b>" not in text
    assert "&lt;b&gt;cover" in text
    assert LIMITS in text
    assert "Peroxide initiators" in text
    assert "1 late" in text
