"""Every command in README.md and the guide runs as written, on the samples or thinned copies.

Blocks marked ``console`` are typed line by line, in order, in a workshop of folders that the text
speaks of. Commands within a sentence must name a command and options that exist.
"""

import re
import shlex
import shutil
from pathlib import Path

import click
import cv2
import numpy as np
import pytest
from click.testing import CliRunner

import wetline
from analysis.watch.alarms import Situation, alarms_for
from analysis.watch.part.alarms import part_alarms, unnoted_feeds
from analysis.watch.part.good_runs import good_alarms
from sample_frames.make_pictures import write_camera_sketch, write_front_lines
from tests.made_up.part_board import beside_with_odd_places, every_part_alarm
from tests.made_up.run_folders import write_run
from tests.made_up.season import add_part
from vision.arrival import usability
from vision.common.lazy_commands import load_object

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ROOT / "sample_frames"
GUIDE = SAMPLES / "guide.md"
DOCS = {"README.md": ROOT / "README.md", "guide.md": GUIDE}
LANGUAGES = {"console", "python", "text"}
FAIR_EXITS = {"repeat": {0, 3, 4}}
"""Exit codes that are an answer; of all other commands only 0 is."""
STATED = """
[stack]
porosity = 0.49
[resin]
viscosity_mpas = 210
gel_time_min = 100
density_kg_m3 = 1100
hardener_parts = 2
class = "polyester"
[vacuum]
pressure_difference_mbar = 940
[part]
flow_length_mm = 650
area_m2 = 1.9
thickness_mm = 3.2
"""


def read(name):
    return DOCS[name].read_text(encoding="utf-8")


def blocks(text):
    """Return (language, body) of each fenced block."""
    return re.findall(r"^```(\w*)\n(.*?)^```$", text, re.S | re.M)


def typed(text):
    """Return the lines of all console blocks in order."""
    return [
        line
        for language, body in blocks(text)
        if language == "console"
        for line in body.splitlines()
        if line.strip()
    ]


def type_in(line):
    words = shlex.split(line)
    assert words[0] == "wetline", line
    done = CliRunner().invoke(wetline.main, words[1:])
    assert done.exit_code in FAIR_EXITS.get(words[1], {0}), f"{line}\n{done.output}"
    assert done.output.strip(), line
    return done.output


def sample(name, to):
    shutil.copytree(SAMPLES / name, to, ignore=shutil.ignore_patterns("results", "truth"))


@pytest.fixture
def workshop(tmp_path, monkeypatch):
    """The folders and photos the text speaks of."""
    for seed, name in enumerate(("panel_b", "good_1", "good_2", "good_3", "season/panel_c")):
        write_run(tmp_path / name, seed=seed)
    sample("part_cover", tmp_path / "sample_frames" / "part_cover")
    add_part(tmp_path / "sample_frames", "part_run")  # every third photo, on a coarse grid
    photos = sorted((SAMPLES / "glass_edge" / "frames").iterdir())
    for name, photo in (("IMG_7.jpg", photos[0]), ("face.jpg", photos[-1])):
        shutil.copy(photo, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def by_hand(panel):
    """Do what the guide asks for between its first commands: photos, gauge log, panel.toml."""
    shutil.copytree(SAMPLES / "glass_edge" / "frames", panel / "frames", dirs_exist_ok=True)
    log = "time_min,bag_mbar\n0,22\n5,23\n10,25\n15,26\n20,28\n"
    (panel / "drawdown.csv").write_text(log, encoding="utf-8")
    path = panel / "panel.toml"
    text = path.read_text(encoding="utf-8")
    sheet = re.search(r"\[scale\].*?(?=\n\[)", text, re.S).group()
    own = (SAMPLES / "glass_edge" / "panel.toml").read_text(encoding="utf-8")
    cards = re.search(r"\[scale\].*?(?=\n\[)", own, re.S).group()
    head = text[: text.index("[stack]")].replace(sheet, cards)
    path.write_text(head + STATED, encoding="utf-8")


def test_every_line_of_the_guide_runs(workshop):
    lines = typed(read("guide.md"))
    assert len(lines) >= 12
    said = {}
    for line in lines:
        said[line] = type_in(line)
        if line.startswith("wetline sheet"):
            by_hand(workshop / "my_panel")
    assert "Verdict:      FILLS" in said["wetline run my_panel"]
    assert next(said[line] for line in lines if "drawdown" in line).startswith("GO: ")


def test_every_line_of_the_readme_runs(workshop):
    lines = typed(read("README.md"))
    assert len(lines) >= 4
    type_in("wetline new my_panel --length 420 --width 240")
    by_hand(workshop / "my_panel")
    type_in("wetline run my_panel")
    for line in lines:
        type_in(line)


@pytest.mark.parametrize("name", DOCS)
def test_every_block_is_one_that_a_test_runs(name):
    found = blocks(read(name))
    assert found
    for language, body in found:
        assert language in LANGUAGES, f"a block that no test runs: {body[:60]}"
        if language != "console":
            assert not re.search(r"^wetline ", body, re.M), f"mark this as console: {body[:60]}"


@pytest.mark.parametrize("name", DOCS)
def test_commands_within_a_sentence_exist_with_their_options(name):
    spans = re.findall(r"`wetline ([a-z]+)([^`]*)`", read(name))
    assert spans
    for command, rest in spans:
        known = options_of(command)
        for option in re.findall(r"(?<!\S)(--?[a-z][a-z0-9-]*)", rest):
            assert option in known, f"wetline {command} has no {option}"


def test_options_named_alone_belong_to_some_command():
    known = {option for command in wetline.COMMANDS for option in options_of(command)}
    known |= {"--nthreads"}  # of the scheduler's worker, not ours
    for name in DOCS:
        for span in re.findall(r"`(--[a-z][^`]*)`", read(name)):
            assert span.split()[0] in known, span


def options_of(command):
    found = load_object(wetline.COMMANDS[command][0])
    return {
        option
        for parameter in found.params
        if isinstance(parameter, click.Option)
        for option in (*parameter.opts, *parameter.secondary_opts)
    } | {"-h", "--help"}


SITUATIONS = [
    Situation(store_fault="no space"),
    Situation(space="1 GB left"),
    Situation(silence_s=99.0),
    Situation(frozen=True),
    Situation(lost=True),
    Situation(lost=True, what="Part"),
    Situation(camera_note="3 px"),
    Situation(running=True, hidden=0.9),
    Situation(running=True, cannot_see="dark"),
    Situation(running=True, doubts="the light changed"),
    Situation(vacuum_lost=0.3),
    Situation(stalled_at_mm=120.0),
    Situation(racing_mm=90.0, reached_mm=200.0),
    Situation(beside="late"),
    Situation(slowing=True),
    Situation(overdue=True),
    Situation(overdue=True, silence_s=99.0),
    Situation(filled=True),
    Situation(running=True, elapsed_s=700.0, gel_s=600.0),
    Situation(running=True, elapsed_s=60.0, gel_s=600.0, end_s=700.0),
    Situation(
        running=True, elapsed_s=60.0, gel_s=600.0, working_s=400.0, end_s=300.0, end_high_s=500.0
    ),
    Situation(
        running=True, elapsed_s=60.0, gel_s=600.0, working_s=400.0, end_s=300.0, end_high_s=900.0
    ),
]
"""One for each alarm there is."""


def test_the_guide_has_a_row_for_each_alarm():
    code = (ROOT / "analysis" / "watch" / "alarms.py").read_text(encoding="utf-8")
    raised = [alarm for now in SITUATIONS for alarm in alarms_for(now)]
    assert {alarm.key for alarm in raised} == set(re.findall(r'Alarm\(\s*"(\w+)"', code))
    own = (ROOT / "analysis" / "watch" / "part" / "alarms.py").read_text(encoding="utf-8")
    part = part_alarms(every_part_alarm()) + unnoted_feeds({"third line": 60.0}, (), 90.0)
    assert len({alarm.text.split(" in ")[0] for alarm in part}) == own.count("return Alarm(")
    raised += [*part, *good_alarms(beside_with_odd_places(), beside_with_odd_places())]
    section = read("guide.md").split("## Alarms")[1].split("\n## ")[0]
    rows = re.findall(r"^\| ([^|]+?) \|", section, re.M)[1:]
    for alarm in raised:
        assert any(alarm.text.startswith(row) for row in rows), alarm.text
    for row in rows:
        assert any(alarm.text.startswith(row) for alarm in raised), f"no such alarm: {row}"


SAID = {
    "vision/front/front_curve.py": [
        "hidden or in glare all through", "race-tracking along", "behind the front",
        "two changes passed over the panel", "the panel could not be found in",
        "the front was corrected by hand",
    ],
    "vision/tracking/tracker.py": ["nothing fixed beside the panel was found again"],
    "vision/frames/photo_times.py": [
        "hours lie between", "the camera's clock goes back by", "photos carry a capture time",
        "the photos carry the time of their last change", "put in order by their own times",
        "is not used",
    ],
    "vision/frames/video.py": ["is said to play slower", "the whole film stands for"],
    "vision/check/doubts.py": [
        "the light can be read in two ways", "show the front elsewhere than it was read",
        "photos by themselves show", "looks dry behind the front, and yet changed for good",
    ],
    "vision/check/panel_moved.py": ["the panel itself lies about"],
    "analysis/fit/permeability.py": [
        "the front slowed from about", "the front runs as if resin had entered",
        "no permeability without", "the slope of the panel is counted in",
    ],
    "analysis/forecast/panel_answer.py": [
        "times as far as the front was measured", "resin thickens within", "feed hole taken as",
        "forecast corrected to the part's fibre fraction", "flow media: the tool side lags",
        "the front still moved at",
    ],
    "analysis/panel/tables/vacuum.py": ["air pressure taken as", "the vacuum is weak"],
    "analysis/panel/tables/resin.py": ["viscosity taken from the class"],
}  # fmt: skip
"""Words of the warnings and doubts, as the code has them."""


@pytest.mark.parametrize("place", SAID)
def test_the_guide_has_the_words_of_each_warning(place):
    code = re.sub(r'"\s*f?"', "", (ROOT / place).read_text(encoding="utf-8"))
    cells = re.findall(r"^\| ([^|]+?) \|", read("guide.md"), re.M)
    for words in SAID[place]:
        assert words in code, f"{place} says it otherwise now: {words}"
        assert any(words in cell for cell in cells), f"the guide leaves out: {words}"


def test_the_guide_has_a_row_for_each_reason_why_a_run_is_refused():
    reasons = [text for name, text in vars(usability).items() if name.isupper()]
    rows = re.findall(r"^\| ([^|]+?) \|", read("guide.md").split("## In doubt")[1], re.M)
    assert len(reasons) >= 7
    for reason in reasons:
        assert any(row in reason for row in rows), reason


@pytest.mark.parametrize("word", ["fills", "tight", "gels first", "unfair test", "cannot decide"])
def test_the_guide_says_what_to_do_after_each_verdict(word):
    section = read("guide.md").split("## Verdicts")[1].split("\n## ")[0]
    assert f"| **{word.upper()}** |" in section


def test_what_guide_and_readme_link_to_is_there():
    for name, path in DOCS.items():
        for target, anchor in re.findall(r"\]\(([^)#\s]*)#?([^)]*)\)", read(name)):
            if "://" in target:
                continue
            there = (path.parent / target).resolve() if target else path
            assert there.exists(), f"{name}: {target}"
            assert not anchor or anchor in headings(there), f"{name}: {target}#{anchor}"


def headings(path):
    """Return the anchors of a document's headings."""
    found = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in found}


def test_the_readme_starts_with_what_comes_out(tmp_path):
    """The picture stands right after the opening paragraph, and is what the command draws."""
    third = [block for block in read("README.md").split("\n\n") if block.strip()][2]
    assert "(sample_frames/pictures/front_lines.jpg)" in third
    kept = SAMPLES / "pictures" / "front_lines.jpg"
    assert kept.stat().st_size < 150_000
    drawn = cv2.imread(str(write_front_lines(tmp_path))).astype(float)
    assert differs(drawn, kept) < 6.0, "make it again: python -m sample_frames.make_pictures"


def test_the_sketch_of_the_camera_is_what_the_script_draws(tmp_path):
    drawn = cv2.imread(str(write_camera_sketch(tmp_path))).astype(float)
    assert differs(drawn, SAMPLES / "pictures" / "camera.png") < 6.0


def differs(drawn, kept):
    """Mean difference in grey levels; letters may fall a pixel elsewhere on another machine."""
    stored = cv2.imread(str(kept)).astype(float)
    assert stored.shape == drawn.shape
    return float(np.mean(np.abs(stored - drawn)))


def test_the_answer_shown_in_the_readme_is_that_of_the_sample(tmp_path):
    sample("glass_edge", tmp_path / "glass_edge")
    said = type_in(f"wetline run '{(tmp_path / 'glass_edge').as_posix()}'")
    shown = [body for language, body in blocks(read("README.md")) if language == "text"]
    assert shown
    for line in shown[0].splitlines():
        assert line.strip() in said, line
