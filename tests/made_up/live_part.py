"""A watched run of a made-up part on a clock that the test moves; time 0 is resin start."""

import atexit
import json
import re
import shutil
import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from analysis.watch.part.run import WatchPart
from sample_frames._part_make import make_part
from sample_frames._part_world import Clock, Outlet, World
from tests.made_up.parts.cases import CLOTH, LEFT, PLATE, line, recipe
from vision.cameras.camera import PhoneCamera
from vision.cameras.clock import SteadyClock
from vision.drawing.live_picture import jpeg_bytes

START_S = 1_933_000_000.0


def vent_in_the_way():
    """A plate fed from the left whose only vent is in the middle: the right half is cut off."""
    world = World(PLATE, CLOTH, (LEFT,), (Outlet("middle", line((240, 160))),))
    world = replace(world, clock=Clock(95_000.0, 1.2))
    return recipe("vent_in_the_way", world, photos=36, before=6)


def make_run(folder):
    """Make a part, and return its photos as (seconds since resin start, bytes, true wet share)."""
    filled = make_part(vent_in_the_way(), folder, lambda text: None)
    truth = json.loads((folder / "truth" / "truth.json").read_text(encoding="utf-8"))
    photos = [
        (f["time_s"], (folder / "frames" / f["file"]).read_bytes(), f["wetted_fraction"])
        for f in truth["frames"]
    ]
    return filled, photos


LATER = """[[feed]]
name = "second line"
line_mm = [[330, 20], [330, 300]]
opens_when = "wet"

[[vent]]
name = "far edge"
line_mm = [[480, 100], [480, 200]]

"""
"""A later feed and a second vent that the made-up part itself does not have."""


@cache
def made_run():
    """Make the part once for all tests; its folder, its filling and its photos."""
    home = Path(tempfile.mkdtemp(prefix="live_part_"))
    atexit.register(shutil.rmtree, home, ignore_errors=True)
    return (home, *make_run(home))


def with_more(folder):
    """Add the later feed and the second vent to a part's part.toml."""
    text = (folder / "part.toml").read_text(encoding="utf-8")
    text = text.replace("[[vent]]", LATER + "[[vent]]", 1)
    (folder / "part.toml").write_text(text, encoding="utf-8")
    return folder


def empty_part(made, folder):
    """Return a part's folder as it is before the day: part.toml without a start, no pictures.

    The grid is coarse: a board fills its plan each time it is opened.
    """
    folder.mkdir(parents=True)
    text = (made / "part.toml").read_text(encoding="utf-8")
    text = re.sub(r"resin_start = .*\n", "", text)
    text = re.sub(r"cells = .*\n", "cells = 60\n", text)
    (folder / "part.toml").write_text(text, encoding="utf-8")
    return folder


def copy_of(folder, to):
    """Return a copy of a watched folder, to go on with."""
    return shutil.copytree(folder, to)


def again(photo, number):
    """Return a photo of the same scene a moment later: the same but for the camera's noise."""
    image = cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR).astype(float)
    noise = np.random.default_rng(number).normal(0.0, 1.0, image.shape)
    return jpeg_bytes(np.clip(image + noise, 0, 255).astype(np.uint8), 95)


class PartShop:
    """A watched run of a part."""

    def __init__(self, folder, t=-600.0, interval_s=150.0, like=()):
        self.t = t
        clock = SteadyClock(lambda: START_S + self.t, lambda: self.t)
        self.watch = WatchPart(
            folder, PhoneCamera(), interval_s, clock=clock, learn_every_s=1e9, like=like
        )

    def __enter__(self):
        self.watch.__enter__()
        return self

    def __exit__(self, *_):
        self.watch.close()

    def take(self, t, photo, learn=False):
        """Send a photo taken at t; what is being learnt is waited for."""
        self.t = t
        self.watch.learner.every_s = 0.0 if learn else 1e9
        assert self.watch.receive(photo, 0.0)
        self.watch.follow_once(0.0)
        self.watch.learner.wait(30.0)

    def told(self):
        return [alarm.key for alarm in self.watch.board.alarms]
