from dataclasses import replace

import numpy as np

from analysis.fit.anisotropy import PrincipalAxes
from analysis.fit.curvature import Bend
from analysis.fit.permeability import NoFit
from analysis.forecast.fill_time import FillForecast
from analysis.panel.records import Log, Vacuum
from analysis.record.content import (
    assumptions_of,
    fairness_rows,
    interval,
    key_rows,
    permeability_rows,
    scale_rows,
    verdict_words,
    warnings_of,
)
from tests.made_up.answers import roof_cover
from tests.made_up.curves import make_panel
from vision.records import DrySpot


def with_front(answer, **changes):
    front = replace(answer.front, **changes)
    return replace(answer, tracked=replace(answer.tracked, front=front))


def test_verdict_in_words():
    words = verdict_words(roof_cover())
    assert (words.word, words.reason) == ("fills", "It takes 31 min of the 45 min there are.")


def test_point_feed_shows_both_permeabilities_and_the_angle():
    axes = PrincipalAxes(
        3.1e-11, 2.9e-11, 3.4e-11, 1.7e-11, 1.5e-11, 1.9e-11, -35.2, -37.0, -33.0, 1.82
    )
    found = permeability_rows(roof_cover(axes=axes))
    rows = {row.name: row for row in found}
    assert rows["Permeability K1, along the long axis"].more == "2.90 to 3.40 × 10⁻¹¹ m²"
    assert rows["Permeability K2, across it"].value == "1.70 × 10⁻¹¹ m²"
    angle = rows["Direction of K1 from the panel's length"]
    assert (angle.value, angle.more) == ("-35 degrees", "-37 to -33 degrees")
    assert [row.value for row in found][:2] == ["8.13 × 10⁻¹¹ m²", "3.10 × 10⁻¹¹ m²"]


def test_frames_used_are_those_of_the_fit_where_there_is_one():
    assert fairness_rows(roof_cover())[-1].value == "39 of 48"
    assert fairness_rows(roof_cover(fit=NoFit("too few")))[-1].value == "41 of 48"


def test_a_fill_time_without_an_upper_end_says_so():
    row = key_rows(roof_cover(fill=FillForecast(0.45, 500.0, 420.0, float("inf"))))[1]
    assert (row.value, row.more) == ("8.3 min", "7.0 min or more")
    assert interval(None, "5", "mm") == "up to 5 mm"


def test_a_fill_that_never_ends_says_never():
    never = FillForecast(0.45, float("inf"), 420.0, float("inf"))
    row = key_rows(roof_cover(fill=never))[1]
    assert (row.value, row.more) == ("never", "the resin stiffens first")


def test_many_dry_spots_are_summed_up():
    spots = tuple(DrySpot(i, 1.0, 100.0) for i in range(9))
    dry = fairness_rows(with_front(roof_cover(), dry_spots=spots))[1]
    assert dry.value == "9"
    assert dry.more.endswith("; and 3 more; limit 2 % of the wetted area")
    none = fairness_rows(with_front(roof_cover(), dry_spots=()))[1]
    assert none.value == "none seen"


def test_pen_marks_are_not_said_to_have_seen_an_even_front():
    base = roof_cover()
    scale = replace(base.scale, method="marks", mm_per_px=float("nan"))
    marked = replace(base, tracked=replace(base.tracked, scale=scale))
    race, dry = fairness_rows(marked)[:2]
    assert (race.value, dry.value) == ("not known", "not known")
    assert "pen marks do not show it" in race.more
    assert not any("nan" in row.more for row in scale_rows(marked))


def test_vacuum_and_bend_stand_beside_their_limits():
    rows = {row.name: row for row in fairness_rows(roof_cover())}
    assert rows["Vacuum during the run"].value == "not known"
    assert rows["Slowing beyond Darcy's law"].value == "none that is clear"
    log = Log(np.array([0.0, 1500.0]), np.array([95_000.0, 90_000.0]))
    logged = roof_cover(panel=make_panel(vacuum=Vacuum(95_000.0, log=log)))
    found = next(row for row in fairness_rows(logged) if row.name == "Vacuum during the run")
    assert (found.value, found.more) == ("fell by 5 %", "limit 10 %")
    bent = replace(roof_cover().fit, bend=Bend(0.6, 0.0002))
    found = fairness_rows(roof_cover(fit=bent))[4]
    assert found.value == "40 % of the speed lost"


def test_a_stall_and_the_end_are_told():
    stalled = with_front(roof_cover(), stalled_at_mm=120.4, filled=True)
    assert [row.value for row in fairness_rows(stalled)[2:4]] == ["at 120 mm", "352 mm"]
    assert fairness_rows(stalled)[3].more == "the far end"


def test_warnings_come_once_each_and_the_runs_own_assumption_first():
    assert warnings_of(roof_cover(warnings=("a", "b", "a"))) == ["a", "b"]
    fill = replace(roof_cover().fill, assumes=("resin of a new batch",))
    texts = assumptions_of(roof_cover(fill=fill))
    assert texts[1] == "Taken for the part: resin of a new batch."
    assert "The hardener went in at resin start" in texts[2]
    assert texts[0] == "The sheet lies flat beside the panel."
    assert any("unsaturated" in text for text in texts[1:])
