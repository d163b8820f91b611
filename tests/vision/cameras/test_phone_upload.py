"""What a phone may send."""

import io

import pytest
from PIL import Image

from tests.made_up.live_camera import jpeg
from vision.cameras.phone_upload import MOST_BYTES, check_jpeg
from vision.errors import WetlineError


def test_upload_that_is_no_jpeg_is_refused():
    out = io.BytesIO()
    Image.new("RGB", (200, 200)).save(out, "PNG")
    for data in (b"", b"hello", out.getvalue(), b"\xff\xd8\xff" + b"junk" * 100):
        with pytest.raises(WetlineError, match=r"not a JPEG|damaged"):
            check_jpeg(data)


def test_upload_cut_short_is_refused():
    with pytest.raises(WetlineError, match="cut short"):
        check_jpeg(jpeg()[:-200])


def test_upload_too_large_or_too_small_is_refused():
    with pytest.raises(WetlineError, match="larger than 25 MB"):
        check_jpeg(b"\xff\xd8\xff" + bytes(MOST_BYTES))
    with pytest.raises(WetlineError, match="too small"):
        check_jpeg(jpeg(size=(50, 60)))


def test_decompression_bomb_is_never_unpacked():
    data = bytearray(jpeg())
    at = data.find(b"\xff\xc0")  # start of frame: height and width stand 5 bytes on (ITU-T T.81)
    data[at + 5 : at + 9] = (65000).to_bytes(2, "big") * 2
    with pytest.raises(WetlineError, match=r"million: send a smaller|too many pixels"):
        check_jpeg(bytes(data))
