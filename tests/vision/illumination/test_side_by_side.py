"""Work on many frames by two threads: each done once, in its own place, faults not lost."""

import pytest

from vision.illumination.side_by_side import at_once


@pytest.mark.parametrize("count", [0, 1, 2, 7, 60])
def test_each_is_done_once(count):
    done = [0] * count

    def work(k):
        done[k] += 1

    at_once(work, count)
    assert done == [1] * count


def test_a_fault_comes_out():
    def work(k):
        if k == 3:
            raise ValueError("frame 3")

    with pytest.raises(ValueError, match="frame 3"):
        at_once(work, 8)
