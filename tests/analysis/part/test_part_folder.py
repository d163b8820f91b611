"""A path is told for a part's or a panel's by its files' names alone."""

import pytest

from analysis.part.part_folder import is_part, is_watched_part


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


@pytest.mark.parametrize(
    ("text", "expected"),
    [('[frames]\nsource = "frames"\n', True), ("[grid]\ncells = 9\n", False), ("[frames", True)],
)
def test_a_part_is_watched_where_it_names_photos_or_cannot_be_read(tmp_path, text, expected):
    (tmp_path / "part.toml").write_text(text, encoding="utf-8")
    assert is_watched_part(tmp_path) is expected
    (tmp_path / "panel.toml").touch()
    assert not is_watched_part(tmp_path)
