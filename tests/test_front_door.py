import inspect
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

import wetline
from vision.common.lazy_commands import load_object

ROOT = Path(__file__).resolve().parents[1]
SHOWN = {"track", "answer", "front_lines"}
"""Shown in the README's script section, which runs."""


@pytest.mark.parametrize("name", wetline.COMMANDS)
def test_each_command_loads_and_keeps_its_promise(name):
    place, help_text = wetline.COMMANDS[name]
    command = load_object(place)
    assert command.name == name
    assert command.get_short_help_str(200).rstrip(".") == help_text.rstrip(".")
    assert CliRunner().invoke(wetline.main, [name, "--help"]).exit_code == 0


def test_help_loads_nothing_heavy():
    code = (
        "import sys, wetline\n"
        "try: wetline.main(['--help'])\n"
        "except SystemExit: pass\n"
        "bad = {'cv2', 'numpy', 'scipy', 'matplotlib', 'skimage'} & set(sys.modules)\n"
        "sys.exit(f'loaded {bad}' if bad else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "wetline run FOLDER" in done.stdout


@pytest.mark.parametrize("name", wetline.NAMES)
def test_what_a_script_may_use_is_there_and_documented(name):
    found = getattr(wetline, name)
    assert name in dir(wetline)
    text = inspect.getdoc(found)
    if inspect.isfunction(found):
        for section in ("Parameters", "Returns", "Raises"):
            assert f"{section}\n---" in text, section
        assert ">>> " in text or name in SHOWN, "no example that runs"


def test_import_loads_nothing_heavy():
    code = (
        "import sys, wetline\n"
        "bad = {'cv2', 'numpy', 'scipy', 'matplotlib', 'skimage'} & set(sys.modules)\n"
        "sys.exit(f'loaded {bad}' if bad else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_a_command_that_ends_is_not_looked_through_and_an_import_changes_nothing():
    # What is registered first is called last, when the command's own has been.
    code = """
import atexit, gc
usual = gc.get_threshold()
import wetline
print(gc.get_threshold() == usual, gc.get_freeze_count())
atexit.register(lambda: print(gc.get_freeze_count() > 1000, len(gc.get_objects()) < 1000))
for _ in range(2):
    wetline.main(["--version"], standalone_mode=False)
print(gc.get_threshold()[0] > usual[0], gc.get_freeze_count())
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    said = [line for line in done.stdout.splitlines() if "version" not in line]
    assert said == ["True 0", "True 0", "True True"], done.stderr


def test_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="wetline"):
        wetline.no_such_name  # noqa: B018


def test_wrong_usage_exits_with_2_and_a_wrong_folder_with_1(tmp_path):
    runner = CliRunner()
    assert runner.invoke(wetline.main, ["run"]).exit_code == 2
    missing = runner.invoke(wetline.main, ["run", str(tmp_path / "nowhere")])
    assert missing.exit_code == 1
    assert missing.output.count("\n") == 1
    assert "Traceback" not in missing.output


def test_a_fault_of_our_own_is_one_line_without_a_traceback(monkeypatch, tmp_path):
    import vision.settings.panel_settings

    def fail(folder):
        raise ZeroDivisionError("boom")

    monkeypatch.setattr(vision.settings.panel_settings, "read_toml", fail)
    (tmp_path / "panel.toml").write_text("")
    monkeypatch.delenv("WETLINE_TRACEBACK", raising=False)
    result = CliRunner().invoke(wetline.main, ["track", str(tmp_path)])
    assert result.exit_code == 1
    assert "fault of its own" in result.output
    assert "Traceback" not in result.output


def test_vision_never_imports_analysis():
    for path in (ROOT / "vision").rglob("*.py"):
        for line in path.read_text(encoding="utf-8").splitlines():
            assert not line.strip().startswith(("from analysis", "import analysis")), path


def test_core_dependencies_are_those_of_the_card():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    names = {item.split(">")[0] for item in project["dependencies"]}
    card = {"opencv-python", "numpy", "scipy", "scikit-image", "click", "matplotlib", "pytest"}
    assert names == card
