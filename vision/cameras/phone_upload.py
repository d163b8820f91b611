"""What a phone hands in is checked by decoding it before it counts as a picture."""

from __future__ import annotations

import io
import warnings

from PIL import Image

from vision.errors import WetlineError

MOST_BYTES = 25_000_000
"""Largest upload: a 50-megapixel JPEG at good quality is about 20 MB (common practice)."""

MOST_PIXELS = 60_000_000
LEAST_SIDE_PX = 120
_ORIENTATION = 0x0112


def check_jpeg(data: bytes) -> int:
    """Check that `data` is a JPEG photo of a sensible size by decoding all of it.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    orientation : int
        Exif orientation, 1 to 8.

    Raises
    ------
    WetlineError
        If it is too large, no JPEG, cut short, or would unpack to too many pixels; the size is
        read from the header, so that such a file is never unpacked.
    """
    if len(data) > MOST_BYTES:
        raise WetlineError(f"picture: larger than {MOST_BYTES // 1_000_000} MB: send a smaller one")
    if data[:3] != b"\xff\xd8\xff":
        raise WetlineError("picture: not a JPEG: set the phone's camera to JPEG and send it again")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=["JPEG"]) as image:
                width, height = image.size
                if width * height > MOST_PIXELS:
                    raise WetlineError(
                        f"picture: {width} x {height} pixels is more than "
                        f"{MOST_PIXELS // 1_000_000} million: send a smaller one"
                    )
                if min(width, height) < LEAST_SIDE_PX:
                    raise WetlineError(
                        f"picture: {width} x {height} pixels is too small to measure on"
                    )
                orientation = image.getexif().get(_ORIENTATION, 1)
                image.load()
    except WetlineError:
        raise
    except (OSError, ValueError, SyntaxError, TypeError, KeyError) as error:
        raise WetlineError("picture: damaged or cut short: send it again") from error
    except Image.DecompressionBombError as error:
        raise WetlineError("picture: unpacks to too many pixels: send a smaller one") from error
    return int(orientation) if orientation in range(1, 9) else 1
