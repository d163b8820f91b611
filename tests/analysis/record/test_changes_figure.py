"""Margin against each change of the process, drawn."""

from PIL import Image

from analysis.record.changes_figure import changes_figure, write_changes_figure
from tests.made_up.forecasts import made


def test_the_plot_is_a_readable_picture(tmp_path):
    path = tmp_path / "levers.png"
    write_changes_figure(path, made().case)
    with Image.open(path) as picture:
        assert picture.size == (1350, 810)
        colours = picture.convert("RGB").getcolors(100_000)
    assert len(colours) > 50


def test_too_late_is_hatched_and_the_key_lists_what_is_drawn():
    figure = changes_figure(made().case)
    grounds = [patch for ax in figure.axes for patch in ax.patches]
    assert grounds
    assert all(patch.get_hatch() == "///" for patch in grounds)
    (key,) = figure.legends
    assert [text.get_text() for text in key.get_texts()] == [
        "best estimate",
        "95 % interval",
        "as planned",
        "fills too late",
    ]
