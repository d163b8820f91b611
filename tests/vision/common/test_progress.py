import io

import pytest

from vision.common.progress import bar


class Screen(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("quiet", "shown"), [(False, True), (True, False)])
def test_progress_is_shown_to_who_watches_and_not_when_quiet(monkeypatch, quiet, shown):
    screen = Screen()
    monkeypatch.setattr("sys.stderr", screen)
    assert list(bar("Tracking", 3, quiet)(iter("abc"))) == ["a", "b", "c"]
    assert ("Tracking" in screen.getvalue()) == shown


def test_nothing_is_drawn_where_nobody_watches(monkeypatch):
    file = io.StringIO()
    monkeypatch.setattr("sys.stderr", file)
    assert list(bar("Tracking", 2, quiet=False)([1, 2])) == [1, 2]
    assert file.getvalue() == ""
