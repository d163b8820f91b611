"""A group that loads its commands late: order, help without loading, faults in one line."""

import click
import pytest
from click.testing import CliRunner

from vision.common.lazy_commands import LazyGroup, load_object
from vision.errors import WetlineError


@click.command()
@click.argument("kind")
def fails(kind):
    """Fail as asked."""
    raise {
        "user": WetlineError("panel.toml: mend this"),
        "ours": KeyError("lost"),
        "name": UnicodeEncodeError("ascii", "pr\u00fcf", 2, 3, "ordinal not in range(128)"),
    }[kind]


def group():
    here = f"{__name__}:fails"
    return LazyGroup(name="door", places={"fails": (here, "Fail."), "late": ("no.such:x", "Late.")})


def test_help_lists_commands_that_do_not_even_exist_yet():
    shown = CliRunner().invoke(group(), ["--help"])
    assert shown.exit_code == 0
    assert shown.output.index("fails") < shown.output.index("late")


def test_unknown_command_is_wrong_usage():
    assert CliRunner().invoke(group(), ["nothing"]).exit_code == 2


@pytest.mark.parametrize(("kind", "said"), [("user", "mend this"), ("ours", "fault of its own")])
def test_faults_are_one_line(kind, said, monkeypatch):
    monkeypatch.delenv("WETLINE_TRACEBACK", raising=False)
    monkeypatch.setitem(
        __import__("sys").modules, __name__, __import__("sys").modules.get(__name__)
    )
    done = CliRunner().invoke(group(), ["fails", kind])
    assert done.exit_code == 1
    assert said in done.output
    assert "Traceback" not in done.output


def test_a_name_the_computer_cannot_write_is_no_fault_of_ours(monkeypatch):
    monkeypatch.delenv("WETLINE_TRACEBACK", raising=False)
    monkeypatch.setattr("sys.getfilesystemencoding", lambda: "ascii")
    said = CliRunner().invoke(group(), ["fails", "name"]).output
    assert said.startswith(r"Error: 'pr\xfcf': has a letter that this computer, set to ascii")
    monkeypatch.setattr("sys.getfilesystemencoding", lambda: "utf-8")
    assert "fault of its own" in CliRunner().invoke(group(), ["fails", "name"]).output


def test_object_is_found_by_its_place():
    assert load_object("math:tau") == pytest.approx(6.283185, abs=1e-6)
    with pytest.raises(AttributeError):
        load_object("math:nothing")
