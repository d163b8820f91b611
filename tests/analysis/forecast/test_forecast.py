"""The forecast of the part in JSON and in plain lines; flow media from another panel."""

import json
from dataclasses import replace

import numpy as np
import pytest

from analysis.forecast.forecast import compare_media, forecast, forecast_json, forecast_lines
from analysis.forecast.verdict import Judgement
from analysis.panel.records import Media, Part, Resin, Stack
from tests.made_up.answers import make_answer
from tests.made_up.curves import (
    D_M2_S,
    edge_front_mm,
    make_curve,
    make_front,
    make_panel,
    make_tracked,
)
from tests.made_up.forecasts import RESIN, change_of, made
from vision.errors import WetlineError

LAID = Stack(0.5, thickness_m=0.003, media=Media(0.001, 0.8), kz_m2=1e-12)


def with_k(k_m2, stack, **changes):
    found = make_answer(make_panel(stack=stack, name="with media"))
    return replace(found, fit=replace(found.fit, k_m2=k_m2), **changes)


PLAIN = with_k(1e-10, Stack(0.5, thickness_m=0.003))


def test_measured_media():
    # Layers in parallel: 1 mm of 5e-9 m2 over 3 mm of 1e-10 m2 is 1.325e-9 m2 in all, porosity
    # 0.575; lead 134 mm by the closed form (worked out independently).
    facts = compare_media(with_k(1.325e-9, LAID), PLAIN)
    assert facts.ratio == pytest.approx(13.25 * 0.5 / 0.575)
    assert facts.k_m2 == pytest.approx(5e-9)
    assert facts.lead_m == pytest.approx(0.13416, abs=1e-5)
    found = made(media=facts)
    item = change_of(found, "flow media")
    assert item.enough
    assert item.outcome.time_s == pytest.approx(1.13416**2 / D_M2_S / facts.ratio, rel=0.02)
    assert "134 mm ahead" in "\n".join(forecast_lines(found))
    assert forecast_json(found)["media"]["k_m2"] == pytest.approx(5e-9)


def test_media_of_unknown_lead_are_not_called_enough():
    facts = compare_media(with_k(1.325e-9, replace(LAID, kz_m2=None)), PLAIN)
    item = change_of(made(media=facts), "flow media")
    assert not item.enough
    assert "add [stack] kz_m2" in item.words


def test_media_that_cannot_be_judged():
    with pytest.raises(WetlineError, match="slower than the stack"):
        compare_media(with_k(1e-12, LAID), PLAIN)
    with pytest.raises(WetlineError, match="no permeability to compare"):
        compare_media(with_k(1e-9, LAID), with_k(None, Stack(0.5)))
    unfair = with_k(1e-9, LAID, judgement=Judgement("unfair test", "the front stalled"))
    with pytest.raises(WetlineError, match=r"no fair test \(the front stalled\)"):
        compare_media(unfair, PLAIN)


def test_json_and_lines():
    found = made()
    document = json.loads(json.dumps(forecast_json(found)))
    assert {"name", "enough", "needed", "unit", "margin", "cost"} <= set(document["levers"][0])
    text = "\n".join(forecast_lines(found))
    assert "print through" in text
    assert "surface finish" in text
    assert "effective one under this bag" in text
    assert "advice with an interval" in text


def test_a_plan_that_fits_shows_the_room_to_spare():
    text = "\n".join(forecast_lines(made(0.4)))
    assert "often gives a better surface" in text
    assert "gel time could be as short as" in text


def test_without_gel_time_there_is_no_what_if():
    found = made(resin=Resin(viscosity_pa_s=0.2))
    assert found.changes == ()
    assert "gel_time_min" in found.reason
    assert "No what-if" in "\n".join(forecast_lines(found))


def test_what_has_no_verdict_is_not_called_fine():
    laid = Stack(0.5, thickness_m=0.003, media=Media(0.001, 0.8))
    text = "\n".join(forecast_lines(made(0.3, stack=laid)))
    assert "NO VERDICT" in text
    assert "It fits as it is" not in text


def test_what_fits_is_not_called_fine_after_an_unfair_test():
    times = np.linspace(20.0, 1500.0, 30)
    tracked = make_tracked(
        make_curve(times, edge_front_mm(times)), make_front(race_tracking_mm=200)
    )
    found = forecast(make_panel(resin=RESIN, part=Part(0.4)), tracked)
    text = "\n".join(forecast_lines(found))
    assert "NOT A FAIR TEST" in text
    assert "It fits as it is" not in text
