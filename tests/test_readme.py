"""What the README promises is there."""

import re
from pathlib import Path

import wetline

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def test_it_opens_with_one_paragraph_that_states_the_job():
    blocks = [block for block in TEXT.split("\n\n") if block.strip()]
    assert blocks[0].startswith("# Wetline")
    assert blocks[1].startswith("Wetline watches a resin infusion test panel")
    assert "\n" not in blocks[1].strip()


def test_every_command_is_there_and_no_other():
    named = set(re.findall(r"`wetline (\w+)", TEXT))
    assert named == set(wetline.COMMANDS)


def test_both_spellings_of_the_two_lines_are_there():
    for line in (
        ".venv/bin/wetline run sample_frames/glass_edge",
        r".venv\Scripts\wetline run sample_frames\glass_edge",
        "`.venv/bin/python -m pytest`",
        r"`.venv\Scripts\python -m pytest`",
    ):
        assert line in TEXT


def test_script_section_runs(monkeypatch, capsys):
    """The blocks run one after the other, as a reader would type them."""
    blocks = re.findall(r"```python\n(.*?)```", TEXT, re.S)
    assert len(blocks) >= 2
    monkeypatch.chdir(ROOT)
    names = {}
    for block in blocks:
        exec(compile(block, "README.md", "exec"), names)
    shown = capsys.readouterr().out.splitlines()
    assert shown[0].startswith("fills: K = ")
    assert names["found"].k_low_m2 < names["found"].k_m2 < names["found"].k_high_m2
    first, *_, last = (float(line.split()[1]) for line in shown[1:])
    assert 0 < first < last < names["found"].panel.part.flow_length_m * 1000


def test_script_section_lists_every_name_and_no_other():
    section = TEXT[TEXT.index("## From a script") : TEXT.index("## front.csv")]
    assert set(re.findall(r"^\| `wetline\.(\w+)", section, re.M)) == set(wetline.NAMES)


def test_top_level_holds_only_what_the_card_names():
    card = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "vision", "analysis", "tests",
        "sample_frames", "wetline.py", "LICENSE", "CHANGELOG.md",
    }  # fmt: skip
    made = {"build", "dist", "wetline.egg-info"}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith((".", "__"))}
    assert found - made == card


def test_map_names_every_room():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    places = text[text.index("## Map") : text.index("## Habits")]
    for top in ("vision", "analysis"):
        rooms = {path.name for path in (ROOT / top).iterdir() if (path / "__init__.py").exists()}
        assert rooms
        assert {room for room in rooms if f"`{room}`" not in places} == set()
