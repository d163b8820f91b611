"""Writes a QuickTime film of JPEG pictures with any frame times and any turn, for the tests.

Box layout from ISO/IEC 14496-12 (ISO base media file format) and the QuickTime file format.
"""

import struct

import cv2
import numpy as np

TIMESCALE = 1000
MATRICES = {
    0: (1, 0, 0, 1),
    90: (0, 1, -1, 0),
    180: (-1, 0, 0, -1),
    270: (0, -1, 1, 0),
}


def _box(kind, *parts):
    body = b"".join(parts)
    return struct.pack(">I4s", len(body) + 8, kind) + body


def _full(kind, *parts):
    return _box(kind, bytes(4), *parts)


def _matrix(turn_deg):
    a, b, c, d = MATRICES[turn_deg]
    one = 1 << 16
    return struct.pack(">9i", a * one, b * one, 0, c * one, d * one, 0, 0, 0, 1 << 30)


def write_film(path, images, durations_ms, turn_deg=0):
    """Write `images` (blue green red), each shown for its duration."""
    height, width = images[0].shape[:2]
    samples = [bytes(cv2.imencode(".jpg", image)[1]) for image in images]
    total = sum(durations_ms)
    ftyp = _box(b"ftyp", b"qt  ", bytes(4), b"qt  ")
    mdat = _box(b"mdat", *samples)
    offsets, place = [], len(ftyp) + 8
    for sample in samples:
        offsets.append(place)
        place += len(sample)
    entry = _box(
        b"jpeg",
        bytes(6) + struct.pack(">H", 1) + bytes(16),
        struct.pack(">HHIIIH", width, height, 72 << 16, 72 << 16, 0, 1),
        bytes(32) + struct.pack(">Hh", 24, -1),
    )
    n = len(samples)
    stbl = _box(
        b"stbl",
        _full(b"stsd", struct.pack(">I", 1), entry),
        _full(
            b"stts", struct.pack(">I", n), b"".join(struct.pack(">II", 1, d) for d in durations_ms)
        ),
        _full(b"stsc", struct.pack(">IIII", 1, 1, 1, 1)),
        _full(b"stsz", struct.pack(">II", 0, n), struct.pack(f">{n}I", *map(len, samples))),
        _full(b"stco", struct.pack(">I", n), struct.pack(f">{n}I", *offsets)),
    )
    dinf = _box(b"dinf", _full(b"dref", struct.pack(">I", 1), _box(b"url ", struct.pack(">I", 1))))
    minf = _box(b"minf", _box(b"vmhd", struct.pack(">I", 1), bytes(8)), dinf, stbl)
    mdia = _box(
        b"mdia",
        _full(b"mdhd", struct.pack(">IIIIHH", 0, 0, TIMESCALE, total, 0, 0)),
        _full(b"hdlr", b"mhlr", b"vide", bytes(12), b"\0"),
        minf,
    )
    tkhd = _box(
        b"tkhd",
        struct.pack(">IIIIII", 15, 0, 0, 1, 0, total),
        bytes(16),
        _matrix(turn_deg),
        struct.pack(">II", width << 16, height << 16),
    )
    mvhd = _full(
        b"mvhd",
        struct.pack(">IIII", 0, 0, TIMESCALE, total),
        struct.pack(">IH", 1 << 16, 1 << 8),
        bytes(10),
        _matrix(0),
        bytes(24),
        struct.pack(">I", 2),
    )
    path.write_bytes(ftyp + mdat + _box(b"moov", mvhd, _box(b"trak", tkhd, mdia)))


def numbered(n, width=96, height=64):
    """Pictures whose grey level tells their number: 5 levels apart, the left half red."""
    images = []
    for i in range(n):
        image = np.full((height, width, 3), 10 + 5 * i, np.uint8)
        image[:, : width // 2, 2] = 255
        images.append(image)
    return images
