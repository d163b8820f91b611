"""A part of which a bit lies outside the photo: that bit is not seen, the rest is read."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from sample_frames._part_make import part_px
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from tests.vision.parts.test_track_part import true_at
from vision.errors import WetlineError
from vision.parts.track_part import track_part_folder

IN_VIEW = [0, 1, 2, 5, 6, 7]
"""Corners of the octagon that stay in view when its right end is cut off."""


def cut(tmp, from_mm):
    """The tapped part's camera, with photos that end at an x of the part."""
    case = CASES["tapped"]
    camera = part_camera(read_part(made_part("tapped")))
    outline = case.true.outline_mm
    edge = int(part_px(case, np.array([[from_mm, 160.0]]))[0, 0])
    frames = tmp / "cut"
    frames.mkdir()
    for path in sorted((made_part("tapped") / "frames").iterdir()):
        cv2.imwrite(str(frames / path.name), cv2.imread(str(path))[:, :edge])
    tapped = tuple(map(tuple, part_px(case, outline[IN_VIEW])))
    scale = replace(camera.scale, points_px=tapped, points_mm=tuple(map(tuple, outline[IN_VIEW])))
    source = replace(camera.frames, path=frames, resin_start=None, interval_s=60.0)
    return replace(camera, scale=scale, frames=source)


def test_a_bit_out_of_view_is_not_seen_and_said(tmp_path):
    seen = track_part_folder(cut(tmp_path, 490)).seen
    assert seen.usable
    told = [text for text in seen.warnings if "outside the picture" in text]
    assert len(told) == 1
    share = float(told[0].split("about ")[1].split(" %")[0])
    assert 2 < share < 8
    assert "at its right" in told[0]
    assert not seen.seen[:, seen.x_mm > 496].any()
    clear = seen.inside & (seen.x_mm < 470)[None, :]
    assert (seen.seen & clear).sum() > 0.8 * clear.sum()


def test_what_is_left_in_view_is_read_as_before(tmp_path):
    seen = track_part_folder(cut(tmp_path, 490)).seen
    with np.load(made_part("tapped") / "truth.npz") as truth:
        true = true_at(seen, dict(truth))
    whole = track_part_folder(part_camera(read_part(made_part("tapped")))).seen
    place = seen.seen & np.isfinite(true) & np.isfinite(seen.time_s)
    # The photos are taken to be 60 s apart here: compare the order, as a share of the run.
    here = seen.time_s[place] / np.nanmax(seen.frame_s)
    there = true[place] / np.nanmax(whole.frame_s)
    assert np.quantile(np.abs(here - there), 0.9) < 0.05


def test_a_part_much_of_which_is_out_of_view_is_refused(tmp_path):
    camera = cut(tmp_path, 490)
    outline = camera.shape.outline_mm.copy()
    outline[[3, 4], 0] = 900.0
    wide = replace(camera, shape=replace(camera.shape, outline_mm=outline))
    with pytest.raises(WetlineError, match=r"\d\d % of the part lies outside the picture"):
        track_part_folder(wide)
