"""What a panel brings to a comparison."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.panel.records import Media, Stack
from analysis.record.day.day_records import Day, Findings, Mark
from analysis.record.day.kept_results import keep_result
from analysis.runs.panels.facts import (
    front_spread_mm,
    pore_uptake,
    read_facts,
    surface_of,
    weighed_uptake,
)
from tests.made_up.curves import make_curve, make_front, make_panel, make_tracked
from tests.made_up.facts import make_facts
from tests.made_up.run_folders import write_run


def test_resin_in_the_pores_by_hand():
    # 3 mm of stack, half of it open, 1100 kg/m3: 1.65 kg/m2; 1 mm of media at 0.85 adds 0.935.
    assert make_facts().uptake.kg_m2 == pytest.approx(1.65)
    assert not make_facts().uptake.weighed
    media = Stack(porosity=0.5, thickness_m=0.003, media=Media(0.001, 0.85))
    panel = make_panel(stack=media)
    density = 1100.0
    resin = replace(panel.resin, density_kg_m3=density)
    assert pore_uptake(replace(panel, resin=resin)).kg_m2 == pytest.approx(1.65 + 0.935)
    assert pore_uptake(make_panel(stack=Stack(porosity=0.5), part=None)) is None


def test_what_was_weighed_goes_first():
    day = Day(findings=Findings(resin_used_kg=0.3, surface="fair"), batch="L7")
    facts = make_facts(day=day)
    # 0.3 kg on 600 x 200 mm.
    assert facts.uptake.kg_m2 == pytest.approx(2.5)
    assert facts.uptake.weighed
    assert facts.batch == "L7"
    assert facts.surface.grade == 3
    assert weighed_uptake(make_panel(width_m=None), day.findings) is None


def test_surface_in_words():
    found = Findings(surface="very good", pits="few", print_through="none", dry_areas="many")
    told = surface_of(found, 2)
    assert (told.grade, told.words) == (1, "very good, few pits, many dry areas, 2 marked places")
    assert surface_of(Findings()) is None
    marked = surface_of(Findings(), len((Mark("pit", 1.0, 2.0),)))
    assert (marked.grade, marked.words) == (None, "1 marked place")


def test_spread_is_between_the_edges_in_the_second_half():
    mean = np.linspace(10.0, 400.0, 40)
    curve = make_curve(
        np.arange(40.0),
        mean,
        front_min_mm=mean - np.where(mean > 200, 8.0, 100.0),
        front_max_mm=mean + 12.0,
    )
    front = make_front(length_reached_mm=400.0)
    assert front_spread_mm(make_tracked(curve, front)) == pytest.approx(20.0)
    hidden = replace(curve, front_max_mm=np.full(40, np.nan))
    assert front_spread_mm(make_tracked(hidden, front)) is None


def test_pen_marks_show_no_evenness():
    facts = make_facts(pen=True)
    assert facts.seen_by_pen
    assert facts.dry_share is None


def test_only_a_named_stack_makes_panels_alike():
    assert make_facts().build == ""
    assert make_facts(fabric="glass").build == make_facts("other", fabric="glass").build != ""
    assert make_facts(fabric="glass").build != make_facts(fabric="carbon").build


def test_what_takes_no_part():
    assert make_facts().left_out == ""
    raced = make_front(race_tracking_mm=200.0)
    assert "unfair test" in make_facts(front=raced).left_out
    assert "cannot be compared" in make_facts(front=make_front(doubts=("sun",))).left_out
    blind = make_front(usable=False, reason="nothing seen")
    assert "nothing seen" in make_facts(front=blind).left_out
    media = Stack(porosity=0.5, thickness_m=0.003, media=Media(0.001))
    assert "flow media" in make_facts(stack=media).left_out


def test_drawdown_that_was_kept_counts_until_its_log_changes(tmp_path):
    folder = write_run(tmp_path / "cover")
    assert read_facts(folder).drawdown_mbar_min is None
    log = folder / "drawdown.csv"
    log.write_text("time_min,bag_mbar\n0,5\n", encoding="utf-8")
    keep_result(folder, "drawdown", {"leak_mbar_min": 0.25, "log_file": "drawdown.csv"}, log)
    assert read_facts(folder).drawdown_mbar_min == 0.25
    log.write_text("time_min,bag_mbar\n0,9\n", encoding="utf-8")
    assert read_facts(folder).drawdown_mbar_min is None
