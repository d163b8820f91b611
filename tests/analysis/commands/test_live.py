"""The live commands; a whole run is tested in tests/analysis/watch/test_run.py."""

from click.testing import CliRunner

from analysis.commands.live import page, watch


def test_commands_say_what_is_missing(tmp_path):
    told = CliRunner().invoke(watch, [str(tmp_path)])
    assert "no panel.toml" in str(told.exception)
    told = CliRunner().invoke(page, [str(tmp_path / "nowhere"), "--no-open"])
    assert "no such folder" in str(told.exception)
    for command in (watch, page):
        assert "Usage" in CliRunner().invoke(command, ["--help"]).output
