"""A part while it fills: quick, in a fixed memory, and near what the recording says."""

import time
from dataclasses import replace

import numpy as np
from scipy.ndimage import gaussian_filter

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from tests.bench.live_part import eyes_of, told_part
from tests.made_up.other_parts.cases import OTHERS
from tests.made_up.other_parts.make import make
from tests.made_up.parts.made_part import made_part
from tests.vision.parts.test_track_part import true_at
from vision.frames.source import open_frames, resin_start_clock_s
from vision.parts.live_part import LivePart


def yardstick_s():
    """What blurring a megapixel takes on this computer, in processor time: some 0.08 s on ours."""
    picture, taken_s = np.random.default_rng(1).random((1000, 1000)), []
    for _ in range(3):
        begun = time.process_time()
        gaussian_filter(picture, 20)
        taken_s.append(time.process_time() - begun)
    return min(taken_s)


def test_live_look_is_quick_and_near_the_truth():
    folder = made_part("hole")
    camera = part_camera(read_part(folder))
    taken_s = []
    with open_frames(camera.setup()) as frames:
        live = LivePart.of(camera, frames)
        start = resin_start_clock_s(camera.setup(), frames)
        count = len(frames)
        for frame in frames:
            live.add(frame)
            if live.count in (5, count // 2, count):
                begun = time.process_time()
                seen = live.read(start)
                taken_s.append(time.process_time() - begun)
                assert (seen is None) == (live.count < live.canvases.fewest)
    assert seen is not None
    assert seen.usable
    # At some 90,000 pixels.
    assert min(taken_s[1:]) < 12.0 * yardstick_s()
    with np.load(folder / "truth.npz") as truth:
        true = true_at(seen, dict(truth))
    place = seen.inside & seen.seen & np.isfinite(true) & (true < seen.last_s)
    off = np.abs(seen.time_s - true)[place]
    assert np.mean(off < 0.03 * np.nanmax(true)) > 0.95


def test_half_way_what_is_ahead_is_dry():
    folder = made_part("hole")
    camera = part_camera(read_part(folder))
    with open_frames(camera.setup()) as frames:
        live = LivePart.of(camera, frames)
        for frame in frames:
            if frame.index > len(frames) // 2:
                break
            live.add(frame)
        seen = live.read(resin_start_clock_s(camera.setup(), frames))
    assert seen is not None
    with np.load(folder / "truth.npz") as truth:
        true = true_at(seen, dict(truth))
    place = seen.inside & seen.seen & np.isfinite(true)
    ahead = place & (true > 1.15 * seen.last_s)
    behind = place & (true < 0.85 * seen.last_s)
    assert np.mean(np.isinf(seen.time_s[ahead])) > 0.98
    assert np.mean(np.isfinite(seen.time_s[behind])) > 0.98
    assert live.last_photo is not None


def test_live_eyes_on_joined_pixels_agree_with_recorded_ones_and_are_never_silently_wrong(tmp_path):
    make(next(one for one in OTHERS if one.name == "small_vga"), tmp_path / "small")
    eyes = eyes_of(told_part(tmp_path / "small"))
    assert eyes.seen > 0.9
    assert eyes.once > 0.85
    assert eyes.twice > 0.95
    for found in (eyes.half, eyes.end):
        assert not found.wrong
    assert 0.4 < eyes.end.z_spread < 1.2


def last_look(camera):
    """What is seen live at the last photo."""
    with open_frames(camera.setup()) as frames:
        live = LivePart.of(camera, frames)
        for frame in frames:
            live.add(frame)
        return live.read(resin_start_clock_s(camera.setup(), frames))


def test_a_plan_of_another_size_is_in_doubt_live_too():
    camera = part_camera(read_part(made_part("hole")))
    shape = replace(camera.shape, outline_mm=camera.shape.outline_mm * [0.85, 1.0])
    told = [
        [text for text in last_look(one).doubts if "past the outline wets as the part" in text]
        for one in (replace(camera, shape=shape), camera)
    ]
    assert [len(texts) for texts in told] == [1, 0]
    assert "at its right" in told[0][0]
