import pytest

from vision.common.closing import Closing


class Tap(Closing):
    def __init__(self):
        self.open = True

    def close(self):
        self.open = False


def test_what_is_opened_is_closed_even_after_an_error():
    with Tap() as tap:
        assert tap.open
    assert not tap.open
    with pytest.raises(ZeroDivisionError), Tap() as other:
        raise ZeroDivisionError
    assert not other.open
