"""A shadow's edge that the light does not follow leaves the time of wetting in doubt."""

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.conditions import lit
from vision.parts.timing import light_doubt
from vision.parts.timing.light_doubt import light_doubt_s, light_error_steps, unsure_doubts
from vision.settings.tracker_settings import TrackerSettings
from vision.wetting.canvas_series import CanvasStack
from vision.wetting.change_point import find_wetting

ROWS, COLS, FRAMES, STEP_S = 96, 128, 24, 10.0
TABLE = np.array([(x, y) for x in np.linspace(-1.3, 1.3, 14) for y in (-1.25, 1.25)])


def true_frame():
    """The frame from which each pixel is wet: a front that slows down from the left."""
    return np.broadcast_to(2 + 20 * (np.arange(COLS) / COLS) ** 2, (ROWS, COLS))


def shadow(k, x):
    """A band of shadow with sharp edges, at places -1 to 1 along the part."""
    return np.where(np.abs(x + 1.2 - 0.13 * k) < 0.25, 0.7, 1.0)


def seen(shaded):
    """A stack of photos, what is found in it, and its time of wetting."""
    stack, rng = CanvasStack((ROWS, COLS), TABLE), np.random.default_rng(3)
    weave = 150 * (1 + 0.03 * rng.standard_normal((ROWS, COLS, 1)))
    x = (np.arange(COLS) + 0.5) / COLS * 2 - 1
    for k in range(FRAMES):
        cloth = weave * np.where(true_frame() <= k, 0.75, 1.0)[..., None] * np.ones(3)
        cloth = cloth + rng.normal(0, 1.0, cloth.shape)
        light = np.broadcast_to(shadow(k, x), (ROWS, COLS)) if shaded else np.ones((ROWS, COLS))
        canvas = lit(np.clip(np.round(cloth), 0, 255).astype(np.uint8), light)
        on_table = shadow(k, TABLE[:, 0]) if shaded else np.ones(len(TABLE))
        border = np.log(100 * on_table[:, None] ** (1 / 2.2) * np.ones(3) + 6)
        stack.add(STEP_S * k, canvas, border)
    settings = TrackerSettings().on_canvas(2.0, STEP_S)
    cloth = np.ones((ROWS, COLS), bool)
    return stack, find_wetting(stack, settings, cloth), cloth, settings.light


@pytest.fixture(scope="module")
def calm():
    return seen(False)


@pytest.fixture(scope="module")
def shaded():
    return seen(True)


def doubt_of(stack, wetting, cloth, settings):
    times = np.asarray(stack.times_s)
    return light_doubt_s(stack, wetting, wetting.wet_frame, times, cloth, settings)[0]


def test_a_light_that_stood_adds_next_to_nothing(calm):
    assert np.quantile(doubt_of(*calm), 0.95) < 0.3 * STEP_S


def test_what_a_shadow_made_wrong_lies_within_three_of_what_it_adds(shaded):
    doubt = doubt_of(*shaded)
    off_s = STEP_S * np.abs(shaded[1].wet_frame - np.ceil(true_frame()))
    wrong = off_s > 2 * STEP_S
    assert np.mean(wrong) > 0.1
    assert np.mean(off_s[wrong] > 3 * doubt[wrong] + 2 * STEP_S) < 0.15
    # And places that the shadow passed long before the front, or after it, stay as they were.
    assert np.mean(doubt < STEP_S) > 0.4


@pytest.mark.parametrize(("error", "told"), [(0.1, True), (0.6, False)])
def test_nothing_is_told_to_have_wetted_where_the_light_is_off_by_more_than_that(
    calm, monkeypatch, error, told
):
    stack, wetting, cloth, settings = calm
    everywhere = np.full((FRAMES, *wetting.coarse.wet_frame.shape), error)
    monkeypatch.setattr(light_doubt, "light_error_steps", lambda *_: everywhere)
    times = np.asarray(stack.times_s)
    doubt, untold = light_doubt_s(stack, wetting, wetting.wet_frame, times, cloth, settings)
    early = true_frame() < 0.7 * FRAMES
    assert np.mean(untold[early]) == pytest.approx(0.0 if told else 1.0, abs=0.02)
    assert (np.median(doubt[early]) > 0.5 * times[-1]) != told


def test_the_error_of_the_light_is_that_of_the_photos_with_the_shadow(calm, shaded):
    quiet, loud = (
        light_error_steps(stack, wetting, cloth, settings)
        for stack, wetting, cloth, settings in (calm, shaded)
    )
    assert quiet.shape == (FRAMES, *calm[1].coarse.wet_frame.shape)
    assert np.median(loud) > 3 * np.median(quiet)


def test_where_nothing_tells_the_light_it_is_taken_as_wrong_by_a_step(calm):
    stack, wetting, _, settings = calm
    bare = CanvasStack((ROWS, COLS), np.zeros((0, 2)))
    for at, canvas in zip(stack.times_s, stack.canvases, strict=True):
        bare.add(at, canvas, np.zeros((0, 3)))
    hidden = replace(wetting.coarse, off_colour=np.ones_like(wetting.coarse.off_colour))
    error = light_error_steps(
        bare, replace(wetting, coarse=hidden), np.ones((ROWS, COLS), bool), settings
    )
    assert (error == 1.0).all()


def test_a_run_is_in_doubt_where_the_light_leaves_much_of_it_so():
    seen_cloth = np.ones((10, 10), bool)
    doubt = np.zeros((10, 10))
    doubt[:4] = 60.0
    assert unsure_doubts(doubt, seen_cloth, 1000.0) == ()
    doubt[:5] = 60.0
    (text,) = unsure_doubts(doubt, seen_cloth, 1000.0)
    assert "over 50% of the cloth seen" in text
    assert unsure_doubts(doubt, ~seen_cloth, 1000.0) == ()
