"""Runs of one part beside each other: made-up stored results of known difference."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.commands.runs import compare
from analysis.infusion.answer.run_files import write_run
from analysis.infusion.seen.made_from import plan_stamp
from analysis.runs.parts.part_facts import all_parts
from analysis.runs.parts.parts_beside import compare_part_folders
from analysis.runs.parts.parts_store import parts_json, write_parts
from analysis.runs.parts.parts_text import difference_lines, parts_head, parts_lines
from tests.made_up.infusion_answers import even_run, run_of
from tests.made_up.part_maps import save_map
from vision.errors import WetlineError

TOML = """name = "cover"
[outline]
rectangle_mm = [{length}, 300.0]
[stack]
k_m2 = 3e-10
porosity = 0.5
thickness_mm = 3.0
[[feed]]
line_mm = [[0.0, 0.0], [0.0, 300.0]]
[[vent]]
line_mm = [[{length}, 0.0], [{length}, 300.0]]
[resin]
viscosity_mpas = 200
[vacuum]
pressure_difference_mbar = 950
"""


def stored(folder: Path, k: float | None, *, fill_s=1200.0, length=600.0, doubts=(), shift=0.0,
           photos=(), version="1"):  # fmt: skip
    results = folder / "results"
    results.mkdir(parents=True)
    (folder / "part.toml").write_text(TOML.format(length=length), encoding="utf-8")
    seen = {
        "usable": True, "reason": "", "doubts": list(doubts), "wetted_fraction": 0.6,
        "last_s": 600.0, "resin_start": "2024-09-11T10:00:00", "warnings": [], "frames": 9,
        "frames_used": 9,
    }  # fmt: skip
    value = {
        "kind": "zone", "name": "the stack", "unit": "m2", "planned": 3e-10, "value": k,
        "low": None if k is None else 0.95 * k, "high": None if k is None else k / 0.95,
        "told": k is not None, "why": "" if k is not None else "hidden by a hose",
    }  # fmt: skip
    learnt = {
        "values": [value], "fill_time_s": fill_s, "fill_time_low_s": 0.97 * fill_s,
        "fill_time_high_s": fill_s / 0.97, "gel_time_s": 5400.0,
    }  # fmt: skip
    numbers = {
        "seen": seen, "planned": {"verdict": "fills"}, "learnt": learnt, "scale": {},
        "beside": {"unseen_fraction": 0.04}, "not_learnt": "",
        "made_from": {
            "part_toml": plan_stamp(folder / "part.toml"), "wetline": version,
            "photos": sorted(photos or [f"{folder.name} {k}" for k in range(5)]),
        },
    }  # fmt: skip
    (results / "part_run.json").write_text(json.dumps(numbers), encoding="utf-8")
    save_map(results / "arrival.npz", shift)
    return folder


def test_only_what_is_beyond_intervals_and_scatter_is_real(tmp_path):
    a = stored(tmp_path / "a", 3.0e-10)
    b = stored(tmp_path / "b", 1.5e-10, fill_s=1300.0, shift=1.0)
    found = compare_part_folders([a, b])
    words = {pair.quantity: pair.word for pair in found.pairs}
    assert words == {"K of the stack": "real", "full after": "intervals only"}
    told = "\n".join(difference_lines(found))
    assert "P2 against P1, 0.50 times: REAL" in told
    assert "like parts scatter as much" in told
    assert parts_json(found)["numbers"][0]["unit"] == "s"


def test_like_runs_are_not_told_apart(tmp_path):
    a, b = stored(tmp_path / "a", 3e-10), stored(tmp_path / "b", 3.1e-10, shift=1.0)
    assert "cannot be told apart" in parts_head(compare_part_folders([a, b]))


def test_what_cannot_be_told_or_is_in_doubt_is_held_against_none(tmp_path):
    a, b = stored(tmp_path / "a", 3e-10), stored(tmp_path / "b", None, shift=1.0)
    found = compare_part_folders([a, b])
    assert [pair.quantity for pair in found.pairs] == ["full after"]
    assert "can't be told (hidden by a hose)" in "\n".join(parts_lines(found))
    c = stored(tmp_path / "c", 1e-10, doubts=("the camera moved",), shift=2.0)
    found = compare_part_folders([a, c])
    assert not found.pairs
    assert parts_head(found).startswith("Cannot decide")
    assert "the camera moved" in write_parts(tmp_path / "out", found).read_text(encoding="utf-8")


def test_other_parts_copies_and_panels_are_refused(tmp_path):
    a, copy = stored(tmp_path / "a", 3e-10), stored(tmp_path / "copy", 3e-10)
    other = stored(tmp_path / "other", 3e-10, length=700.0, shift=1.0)
    with pytest.raises(WetlineError, match="same run"):
        compare_part_folders([a, copy])
    with pytest.raises(WetlineError, match="different parts"):
        compare_part_folders([a, other])
    with pytest.raises(WetlineError, match="named twice"):
        compare_part_folders([a, a])
    with pytest.raises(WetlineError, match="parts with parts"):
        all_parts([a, tmp_path])


def test_a_copy_with_a_photo_less_or_other_names_is_found_out(tmp_path):
    taken = [f"content {k}" for k in range(30)]
    a = stored(tmp_path / "a", 3e-10, photos=taken)
    less = stored(tmp_path / "less", 3e-10, photos=taken[1:], shift=40.0)
    with pytest.raises(WetlineError, match=r"less: holds the same run as .*29 photos are in both"):
        compare_part_folders([a, less])


def test_photos_saved_anew_with_one_left_out_are_found_out_and_a_like_run_is_not(tmp_path):
    def run(name, at, photos):
        folder = tmp_path / name
        folder.mkdir()
        what = even_run(folder)
        keep = np.arange(len(what.seen.frames)) != at
        seen = replace(
            what.seen,
            time_s=what.seen.time_s + 0.02 * (1 + at),
            frames=tuple(np.array(what.seen.frames)[keep]),
            notes=tuple(np.array(what.seen.notes)[keep]),
            **{
                key: getattr(what.seen, key)[keep]
                for key in ("frame_s", "wetted_share", "wetted_sd", "used", "homographies")
            },
        )
        write_run(run_of(what.job, what.planned, seen, photos=photos), folder / "results", None)
        return folder

    a, copy = run("a", -1, "a"), run("copy", 20, "saved anew")
    with pytest.raises(WetlineError, match="times and wet share of the photos agree"):
        compare_part_folders([a, copy])
    like = tmp_path / "like"
    like.mkdir()
    even = even_run(like, factor=1.05)
    write_run(run_of(even.job, even.planned, even.seen, photos="like"), like / "results", None)
    assert len(compare_part_folders([a, like]).parts) == 2


def test_an_edited_part_toml_and_another_version_are_noticed(tmp_path):
    a = stored(tmp_path / "a", 3e-10)
    b = stored(tmp_path / "b", 3e-10, shift=1.0, version="2")
    assert compare_part_folders([a, b]).unlike == ("Wetline: P1 1, P2 2",)
    plan = b / "part.toml"
    plan.write_text(TOML.format(length=600.0).replace("200", "300"), encoding="utf-8")
    with pytest.raises(WetlineError, match="has changed since its run"):
        compare_part_folders([a, b])


def test_the_command_takes_parts(tmp_path):
    a, b = stored(tmp_path / "a", 3e-10), stored(tmp_path / "b", 1e-10, shift=1.0)
    out = CliRunner().invoke(compare, [str(a), str(b), "--to", str(tmp_path / "out")])
    assert out.exit_code == 0, out.output
    assert "REAL" in out.output
