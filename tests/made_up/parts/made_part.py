"""Folders of made-up parts, made once in a run of the tests."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from sample_frames._part_flow import fill
from sample_frames._part_make import make_part, save_filled
from sample_frames._part_world import Filled
from tests.made_up.parts.cases import CASES


@cache
def _home() -> Path:
    home = Path(tempfile.mkdtemp(prefix="made_parts_"))
    atexit.register(shutil.rmtree, home, ignore_errors=True)
    return home


@cache
def made_part(case: str) -> Path:
    """Return the folder of a made-up part: part.toml, frames/, truth/truth.json, truth.npz.

    It is shared: copy it before changing anything in it. truth.npz holds time_s (seconds, NaN
    outside the part) at x_mm and y_mm.
    """
    folder = _home() / case
    filled = make_part(CASES[case], folder, lambda text: None)
    save_filled(folder / "truth.npz", filled)
    return folder


@cache
def true_filling(case: str) -> Filled:
    """Return how a made-up part truly filled, without pictures."""
    recipe = CASES[case]
    return fill(recipe.true, step_mm=recipe.step_mm, px_mm=recipe.px_mm, seed=recipe.seed)
