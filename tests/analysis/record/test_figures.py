import io
import xml.etree.ElementTree as ElementTree

from matplotlib.figure import Figure
from PIL import Image

from analysis.record.figures import png_bytes, svg_text


def plain_figure():
    figure = Figure(figsize=(7.2, 4.1))
    figure.add_subplot().plot([0, 1], [2, 3])
    return figure


def test_pictures_are_the_same_each_time():
    first, second = plain_figure(), plain_figure()
    assert png_bytes(first, dpi=60) == png_bytes(second, dpi=60)
    assert svg_text(first) == svg_text(second)
    assert ElementTree.fromstring(svg_text(first)).tag.endswith("svg")


def test_a_picture_is_as_large_as_asked_and_the_figure_stays_as_it_was():
    figure = plain_figure()
    before = figure.dpi
    with Image.open(io.BytesIO(png_bytes(figure, dpi=60))) as picture:
        assert picture.size == (432, 246)
    assert figure.dpi == before
