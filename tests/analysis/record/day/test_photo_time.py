"""When a stage photo was taken, and from where that is known."""

import os
from datetime import datetime

import pytest
from PIL import Image

from analysis.record.day.photo_time import photo_time, said_time
from vision.errors import WetlineError


def photo(path, taken=""):
    exif = Image.Exif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken  # DateTimeOriginal (CIPA DC-008, Exif 2.32)
    Image.new("RGB", (8, 6)).save(path, exif=exif)
    stamp = datetime(2031, 5, 22, 16, 30, 5).timestamp()
    os.utime(path, (stamp, stamp))
    return path


def test_the_photos_own_time_goes_before_the_files(tmp_path):
    own = photo(tmp_path / "a.jpg", "2031:05:20 09:10:11")
    assert photo_time(own) == ("2031-05-20T09:10:11", "photo")
    assert photo_time(photo(tmp_path / "b.jpg")) == ("2031-05-22T16:30:05", "file")
    assert photo_time(photo(tmp_path / "b.jpg"), file_counts=False) == ("", "")


def test_a_clock_time_as_said_belongs_to_the_photos_day(tmp_path):
    own = photo(tmp_path / "a.jpg", "2031:05:20 09:10:11")
    assert photo_time(own, "14:05") == ("2031-05-20T14:05:00", "said")
    assert photo_time(own, "2031-05-21 7:30"[:10]) == ("2031-05-21T00:00:00", "said")


@pytest.mark.parametrize("text", ["noon", "25:00", "14:61", "2031-13-01"])
def test_what_is_no_time_is_refused(text):
    with pytest.raises(WetlineError, match="must be a time such as 14:05"):
        said_time(text, datetime(2031, 5, 20))
