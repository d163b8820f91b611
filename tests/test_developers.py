"""What DEVELOPERS.md says of the code is so: paths are there, methods name their sources."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = TEXT.split("## Methods\n")[1].split("\n## ")[0]
ROWS = [
    [cell.strip() for cell in line.strip("|").split(" | ")]
    for line in SECTION.splitlines()
    if line.startswith("| ") and "`" in line
]


def test_each_path_named_is_there():
    named = set(re.findall(r"`(?:python )?((?:[\w-]+/)*[\w-]+\.(?:py|toml|md))(?=[ `])", TEXT))
    assert len(named) > 30
    made = {"panel.toml", "part.toml", "day.toml"}  # a user's files
    files = [
        path.relative_to(ROOT).as_posix()
        for top in ("vision", "analysis", "tests", "sample_frames")
        for path in (ROOT / top).rglob("*.*")
        if path.suffix in {".py", ".md"}
    ] + [path.name for path in ROOT.iterdir()]
    lost = {
        name
        for name in named - made
        if not any(("/" + file).endswith("/" + name) for file in files)
    }
    assert lost == set()


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_each_method_stands_in_its_module_with_its_source(row):
    _what, how, module, source = row
    assert how
    path = ROOT / module.strip("`")
    assert path.is_file()
    code = " ".join(path.read_text(encoding="utf-8").split())
    for authors, year in re.findall(
        r"((?:[A-Z][\w-]+)(?: and [A-Z]\w+)?) ((?:18|19|20)\d\d)", source
    ):
        for name in (*authors.split(" and "), year):
            assert name in code, f"{name} is not named in {module}"
    for standard in re.findall(r"(?:ISO|JCGM) [\d-]+(?::\d{4})?", source):
        assert standard in code, f"{standard} is not named in {module}"


def test_the_table_of_methods_covers_all_rooms_that_work_things_out():
    rooms = {"/".join(row[2].strip("`").split("/")[:2]) for row in ROWS}
    assert len(ROWS) >= 35
    assert rooms >= {
        "vision/illumination", "vision/wetting", "vision/scale", "vision/rectify",
        "vision/repair", "vision/arrival", "vision/front", "vision/check", "analysis/panel",
        "analysis/fit", "analysis/forecast", "analysis/shop", "analysis/part", "analysis/runs",
    }  # fmt: skip
