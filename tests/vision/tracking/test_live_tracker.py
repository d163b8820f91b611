"""The live tracker against the recorded-run tracker and against a front that is known."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.made_up.live_run import picture, write_panel
from tests.made_up.shop import events
from tests.made_up.shop import flow as flows
from tests.made_up.shop.flow import Clock, Flow
from tests.made_up.shop.run import Shop, ShopFrames, setup_of
from vision.frames.source import open_frames
from vision.records import Frame
from vision.rectify.rectifier import Rectifier
from vision.settings.panel_settings import read_setup
from vision.tracking.live_tracker import FIRM_AFTER, LiveTracker
from vision.tracking.tracker import Tracker

SAMPLES = Path(__file__).resolve().parents[3] / "sample_frames"


@pytest.fixture(scope="module")
def sample():
    """The first sample panel followed live (measured each fourth frame) and as a recording."""
    setup = read_setup(SAMPLES / "glass_edge")
    with open_frames(setup) as frames:
        rectifier = Rectifier(setup, frames)
        recorded, live = Tracker(setup, rectifier), LiveTracker(setup, rectifier)
        measured = []
        for frame in frames:
            recorded.add(frame)
            live.add(frame)
            if live.tracker.count % 4 == 0 and live.tracker.count >= 9:
                measured.append(live.measure())
        return recorded.finish().tracked, live, measured


def test_live_front_is_within_2_mm_of_the_recorded_one(sample):
    tracked, live, _ = sample
    final = dict(zip(tracked.curve.frames, tracked.curve.front_mean_mm, strict=True))
    error = np.array([r.front_mm - final[r.name] for r in live.firm])
    assert len(error) >= len(final) - FIRM_AFTER - 3  # the last measurement may be 3 frames back
    assert np.sqrt(np.mean(error**2)) < 2.0


def test_stated_uncertainty_of_live_readings_is_honest():
    shop = Shop(flow=Flow(flows.wavy(), Clock()), in_air=(events.hand({7, 8, 13, 14}),))
    frames = ShopFrames(shop)
    setup = setup_of(shop)
    live, off = LiveTracker(setup, Rectifier(setup, frames)), []
    for frame in frames:
        live.add(frame)
        front = live.measure() if frame.index >= 9 and frame.index % 3 < 2 else None
        if front is None or not front.agreed:
            continue
        # The latest two frames are not settled yet; of the others the last is read.
        curve = front.tracked.curve
        at = frames.names.index(curve.frames[-3])
        true_mm = shop.flow.lanes_mm(shop.times_s[at]).mean()
        if 0 < true_mm < 275 and shop.times_s[at] > 0:
            off.append((curve.front_mean_mm[-3] - true_mm) / curve.front_sd_mm[-3])
    assert len(off) > 6
    assert np.abs(off).max() < 4.0
    assert np.sqrt(np.mean(np.square(off))) < 1.3


def test_firm_readings_come_once_and_in_order(sample):
    _, live, measured = sample
    clocks = [r.clock_s for r in live.firm]
    assert clocks == sorted(set(clocks))
    latest = measured[-1].tracked.curve.time_s[-1] + measured[-1].start_clock_s
    assert clocks[-1] < latest


def test_memory_does_not_grow_with_the_run(tmp_path):
    (tmp_path / "frames").mkdir()
    setup = read_setup(write_panel(tmp_path))
    images = [picture(t) for t in (-30.0, -20.0, -10.0, 0.0, 100.0, 300.0)]
    rectifier = Rectifier(setup, _Given(images[:4]))
    live = LiveTracker(setup, rectifier, held=16, recent=4)
    sizes = []
    for k in range(260):
        noise = (np.arange(600) * (k + 1) % 3).astype(np.uint8)[None, :, None]
        image = cv2.add(images[min(k // 12, 5)], np.broadcast_to(noise, (356, 600, 3)).copy())
        live.add(Frame(k, f"{k}.jpg", float(k), image))
        held = live.canvases.frames
        sizes.append(len(held))
        assert [f.clock_s for f in held] == sorted(f.clock_s for f in held)
    assert max(sizes) <= 16 + 4
    assert [f.clock_s for f in live.canvases.frames[-4:]] == [256.0, 257.0, 258.0, 259.0]
    assert len({c.shape for c in live.canvases.stack().canvases}) == 1


class _Given:
    """A source of pictures already in memory."""

    def __init__(self, images):
        self.images, self.names = images, tuple(f"{k}.jpg" for k in range(len(images)))
        self.focal_35mm = None

    def __len__(self):
        return len(self.images)

    def read(self, index):
        return Frame(index, self.names[index], float(index), self.images[index])
