"""A path is told for a part's or a panel's by its files' names alone."""

import pytest

from analysis.part.part_folder import is_part


@pytest.mark.parametrize(
    ("files", "asked", "expected"),
    [
        (["part.toml"], ".", True),
        (["panel.toml"], ".", False),
        (["part.toml", "panel.toml"], ".", False),
        ([], ".", False),
        (["part.toml"], "part.toml", True),
        (["other.toml", "panel.toml"], "other.toml", True),
        (["panel.toml"], "panel.toml", False),
        (["photo.jpg"], "photo.jpg", False),
    ],
)
def test_a_part_is_told_by_its_files(tmp_path, files, asked, expected):
    for name in files:
        (tmp_path / name).touch()

    assert is_part(tmp_path / asked) is expected
