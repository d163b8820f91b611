"""Photo headers: capture time, turn, and files whose end is missing."""

import pytest
from PIL import Image

from vision.frames.exif import is_cut_short, read_header

EXIF_IFD = 0x8769


def save(path, size=(60, 40), tags=None, top=None, thumbnail=False, **options):
    image = Image.effect_noise(size, 60).convert("RGB")
    exif = Image.Exif()
    for tag, value in (top or {}).items():
        exif[tag] = value
    exif.get_ifd(EXIF_IFD).update(tags or {})
    image.save(path, exif=exif.tobytes(), **options)
    return path


def test_capture_time_with_sub_seconds_and_offset(tmp_path):
    # Tag numbers from CIPA DC-008 (Exif 2.32), table of Exif private tags.
    tags = {0x9003: "2031:05:20 14:05:30", 0x9291: "045", 0x9011: "+02:00", 0xA405: 26}
    header = read_header(save(tmp_path / "a.jpg", tags=tags))
    # 2031-05-20T14:05:30Z in Unix time by `date -u -d` (GNU coreutils).
    assert header.wall_s == pytest.approx(1937052330.045)
    assert header.offset_s == 7200.0
    assert header.fine
    assert header.focal_35mm == 26.0


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_capture_time_of_other_formats(tmp_path, suffix):
    path = save(tmp_path / f"a{suffix}", tags={0x9003: "2031:05:20 14:05:30"})
    assert read_header(path).wall_s == 1937052330.0


def test_change_time_is_known_for_what_it_is(tmp_path):
    header = read_header(save(tmp_path / "a.jpg", top={0x0132: "2031:05:20 14:05:30"}))
    assert header.modified_only
    assert header.wall_s == 1937052330.0


def test_turned_photo_reports_its_upright_size(tmp_path):
    assert read_header(save(tmp_path / "a.jpg", top={0x0112: 6})).size == (40, 60)
    assert read_header(save(tmp_path / "b.jpg", top={0x0112: 99})).size == (60, 40)


def test_not_a_picture(tmp_path):
    (tmp_path / "a.jpg").write_text("no picture")
    with pytest.raises(OSError, match="identify"):
        read_header(tmp_path / "a.jpg")


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif"])
@pytest.mark.parametrize("share", [0.2, 0.5, 0.97])
def test_a_file_cut_short_is_told_from_a_whole_one(tmp_path, suffix, share):
    path = save(tmp_path / f"a{suffix}", size=(300, 200))
    assert not is_cut_short(path)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    try:
        cut = is_cut_short(path)
    except OSError:  # a TIFF's table stands at its end
        cut = True
    assert cut


def test_a_progressive_jpeg_is_whole(tmp_path):
    path = save(tmp_path / "a.jpg", size=(300, 200), progressive=True)
    assert not is_cut_short(path)


def test_end_mark_of_an_embedded_thumbnail_does_not_count(tmp_path):
    path = save(tmp_path / "a.jpg", size=(300, 200))
    data = path.read_bytes()
    segment = b"\xff\xe2" + (2 + 6).to_bytes(2, "big") + b"\xff\xd8\x00\x00\xff\xd9"
    whole = data[:2] + segment + data[2:]
    path.write_bytes(whole)
    assert not is_cut_short(path)
    path.write_bytes(whole[: len(whole) // 2])
    assert is_cut_short(path)


def test_a_film_clip_after_the_photo_is_no_fault(tmp_path):
    path = save(tmp_path / "a.jpg")
    path.write_bytes(path.read_bytes() + bytes(200_000))
    assert not is_cut_short(path)
