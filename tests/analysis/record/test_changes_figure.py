"""Margin against each change of the process, drawn."""

from PIL import Image

from analysis.record.changes_figure import write_changes_figure
from tests.made_up.forecasts import made


def test_the_plot_is_a_readable_picture(tmp_path):
    path = tmp_path / "levers.png"
    write_changes_figure(path, made().case)
    with Image.open(path) as picture:
        assert picture.size == (1350, 810)
        colours = picture.convert("RGB").getcolors(100_000)
    assert len(colours) > 50
