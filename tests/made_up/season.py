"""A folder of panels, as a season leaves it."""

import shutil
from pathlib import Path

SAMPLES = Path(__file__).resolve().parents[2] / "sample_frames"


def add_panel(root, name, sample="pen_marks"):
    """Copy a sample panel under a name; return its folder."""
    folder = root / name
    shutil.copytree(SAMPLES / sample, folder, ignore=shutil.ignore_patterns("results", "truth"))
    return folder


def add_part(root, name):
    """Make a part of every third photo of the sample, on a coarse grid; return its folder."""
    folder, sample = root / name, SAMPLES / "part_run"
    (folder / "frames").mkdir(parents=True)
    for photo in sorted((sample / "frames").iterdir())[::3]:
        shutil.copy2(photo, folder / "frames")
    plan = (sample / "part.toml").read_text(encoding="utf-8")
    (folder / "part.toml").write_text(plan.replace("cells = 120", "cells = 60"), encoding="utf-8")
    return folder


def add_bad_panel(root, name):
    """Make a panel that lacks its frames; return its folder."""
    folder = root / name
    folder.mkdir(parents=True)
    (folder / "panel.toml").write_text('[panel]\nname = "no frames"\n', encoding="utf-8")
    return folder


def results_of(folder):
    """Bytes of each result by its name, but for the stamp of what they were made from."""
    files = (folder / "results").iterdir()
    return {path.name: path.read_bytes() for path in files if path.name != "fingerprint.json"}
