"""Made-up films of a liquid wicking up a porous sheet, with exact truth; the camera stands still.

The sheet fills nearly all of the picture, there is hardly any table beside it, the pictures are
small and have gone through a codec. The front follows x = sqrt(k t) (Washburn, Phys. Rev. 17,
273, 1921) on lanes that differ a little.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from vision.frames.reader import Frames
from vision.records import Frame
from vision.settings.frame_settings import FrameSource
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import ScaleSpec

GREY = 0.12
"""Linear light of what lies behind the sheet."""


@dataclass(frozen=True)
class Wicking:
    """One film.

    Attributes
    ----------
    size : (int, int)
        Width and height of the picture.
    sheet_px : (left, top, right, bottom)
        Where the sheet lies in it; the liquid comes from below.
    length_mm, width_mm : float
        The sheet, along and across the flow.
    times_s : ndarray
        Time of each frame; the liquid touches the sheet at 0.
    reach_mm : float
        Front at the last of 600 s.
    wet : float
        Light that the wet sheet sends back, as a share of the dry.
    faint : float
        The same of a first, faint wetting that goes ahead; 1 for none.
    second : float
        Where there is a faint one: distance of the strong front as a share of the faint one's.
    waves_mm : float
        Scatter of the front across the sheet.
    rises : float
        Liquid that climbs the wall beside the sheet, in mm by the end; 0 for none.
    noise : float
        Of the sensor, in codes.
    quality : int
        Of the JPEG each picture goes through.
    """

    size: tuple[int, int] = (320, 240)
    sheet_px: tuple[int, int, int, int] = (60, 14, 260, 226)
    length_mm: float = 80.0
    width_mm: float = 75.0
    times_s: np.ndarray = None
    reach_mm: float = 75.0
    wet: float = 0.72
    faint: float = 1.0
    second: float = 0.6
    waves_mm: float = 1.0
    rises: float = 0.0
    noise: float = 2.0
    quality: int = 60
    person: tuple[int, ...] = ()

    def fronts_mm(self, time_s: float, share: float = 1.0) -> np.ndarray:
        """Leading wet position per lane (0.25 mm); `share` of the even front's distance."""
        even = share * self.reach_mm * np.sqrt(max(time_s, 0.0) / 600.0)
        lanes = np.arange(round(self.width_mm * 4)) / (self.width_mm * 4)
        wave = np.sin(2 * np.pi * (1.3 * lanes + 0.2)) + 0.5 * np.sin(2 * np.pi * 3.1 * lanes)
        return np.clip(even * (1 + self.waves_mm / self.reach_mm * wave), 0, self.length_mm)

    def photographs(self) -> list[np.ndarray]:
        """Draw all pictures."""
        return [self._photograph(k, t) for k, t in enumerate(self.times_s)]

    def _photograph(self, k: int, time_s: float) -> np.ndarray:
        left, top, right, bottom = self.sheet_px
        over = 3
        rows, cols = (bottom - top) * over, (right - left) * over
        fibres = _fibres(rows, cols)
        x_mm = ((rows - np.arange(rows) - 0.5) / rows * self.length_mm)[:, None]
        look = np.ones((rows, cols), np.float32)
        for level, share in self._steps():
            lanes = self.fronts_mm(time_s, share)
            at = np.interp((np.arange(cols) + 0.5) / cols, np.linspace(0, 1, len(lanes)), lanes)
            behind = np.clip((at[None, :] - x_mm) / 0.5 + 0.5, 0, 1)
            behind *= (at > 0)[None, :]
            look *= 1 - (1 - level) * behind
        sheet = (0.55 * fibres * look).astype(np.float32)
        picture = np.full((self.size[1] * over, self.size[0] * over), GREY, np.float32)
        picture *= 1 + 0.15 * _fibres(*picture.shape, seed=5, grain=9)
        if self.rises and time_s > 0:
            high = round(self.rises / self.length_mm * rows * np.sqrt(min(time_s / 600, 1)))
            picture[bottom * over - high : bottom * over, : (left - 4) * over] *= 0.45
            picture[bottom * over - high : bottom * over, (right + 4) * over :] *= 0.45
        picture[top * over : bottom * over, left * over : right * over] = sheet
        small = cv2.resize(picture, self.size, interpolation=cv2.INTER_AREA)
        coded = 255 * np.clip(small, 0, 1) ** (1 / 2.2)
        coded = np.repeat(coded[..., None], 3, axis=2) * np.array([0.97, 1.0, 1.0])
        if k in self.person:
            width, height = self.size
            cv2.circle(coded, (width // 6, height // 2), height // 4, (90, 110, 150), -1)
        coded += np.random.default_rng(k).normal(0, self.noise, coded.shape)
        eight = np.clip(np.round(coded), 0, 255).astype(np.uint8)
        data = cv2.imencode(".jpg", eight, [cv2.IMWRITE_JPEG_QUALITY, self.quality])[1]
        return cv2.imdecode(data, cv2.IMREAD_COLOR)

    def _steps(self) -> list[tuple[float, float]]:
        if self.faint == 1.0:
            return [(self.wet, 1.0)]
        return [(self.faint, 1.0), (self.wet, self.second)]


def _fibres(rows: int, cols: int, seed: int = 3, grain: int = 4) -> np.ndarray:
    """Paper's own texture, mean 1: fibres a few pixels long, and clouds."""
    rng = np.random.default_rng(seed)
    fine = rng.standard_normal((rows // grain + 1, cols // grain + 1)).astype(np.float32)
    clouds = rng.standard_normal((rows // 40 + 2, cols // 40 + 2)).astype(np.float32)
    size = (cols, rows)
    picture = 0.02 * cv2.resize(fine, size, interpolation=cv2.INTER_CUBIC)
    return 1 + picture + 0.015 * cv2.resize(clouds, size, interpolation=cv2.INTER_CUBIC)


@dataclass(frozen=True)
class Somebody:
    """Somebody at the table before the sheet, who never stands quite still.

    Attributes
    ----------
    frames : range
        Pictures in which they stand there.
    at_px, sways_px, half_px : int
        Their middle in the picture, how far they sway, and half their breadth.
    clothes : (int, int, int)
        Blue, green, red.
    """

    frames: range
    at_px: int
    sways_px: int = 20
    half_px: int = 45
    clothes: tuple[int, int, int] = (60, 50, 45)

    def before(self, photos: list[np.ndarray]) -> list[np.ndarray]:
        """Draw them into the pictures of a film."""
        rng = np.random.default_rng(5)
        return [self._drawn(p, k, rng) if k in self.frames else p for k, p in enumerate(photos)]

    def _drawn(self, photo: np.ndarray, k: int, rng: np.random.Generator) -> np.ndarray:
        high = photo.shape[0]
        x = round(self.at_px + self.sways_px * (np.sin(1.7 * k) + 0.3 * rng.normal()))
        body = (x, round(0.55 * high + 10 * np.sin(k)))
        drawn = photo.copy()
        cv2.ellipse(drawn, body, (self.half_px, high // 2), 0, 0, 360, self.clothes, -1)
        cv2.circle(drawn, (x, high // 8), high // 10, (120, 150, 200), -1)
        return drawn


class WickingFrames(Frames):
    """The pictures of a film, in memory."""

    def __init__(self, film: Wicking, somebody: Somebody | None = None) -> None:
        photos = film.photographs()
        self._photos = through_codec(photos if somebody is None else somebody.before(photos))
        self.notes = []
        self.names = tuple(f"film@{t:.2f}s" for t in film.times_s)
        self.clock_s = np.asarray(film.times_s, float)
        self.size = film.size

    def __iter__(self) -> Iterator[Frame]:
        return (self.read(i) for i in range(len(self)))

    def read(self, index: int) -> Frame:
        return Frame(index, self.names[index], float(self.clock_s[index]), self._photos[index])


def through_codec(photos: list[np.ndarray]) -> list[np.ndarray]:
    """Give the pictures what a film coder leaves in them: still places hold, others come late."""
    held, out = None, []
    for photo in photos:
        if held is not None:
            change = photo.astype(np.float32) - held
            blocks = cv2.resize(
                np.abs(cv2.blur(change, (8, 8))).max(axis=2),
                (photo.shape[1] // 8, photo.shape[0] // 8),
                interpolation=cv2.INTER_AREA,
            )
            move = cv2.resize(
                (blocks > 1.5).astype(np.float32),
                photo.shape[1::-1],
                interpolation=cv2.INTER_NEAREST,
            )[..., None]
            photo = np.clip(np.round(held + move * change), 0, 255).astype(np.uint8)
        held = photo.astype(np.float32)
        out.append(photo)
    return out


def setup_of(film: Wicking, **frames) -> PanelSetup:
    """Give panel.toml's content; the corners as read off the first picture."""
    left, top, right, bottom = (v - 0.5 for v in film.sheet_px)
    corners = ((left, bottom), (left, top), (right, top), (right, bottom))
    here = Path("panel")
    return PanelSetup(
        folder=here,
        file=here / "panel.toml",
        name="sheet",
        length_mm=film.length_mm,
        width_mm=film.width_mm,
        flow="edge",
        feed_point_mm=None,
        feed_radius_mm=None,
        frames=FrameSource(here, "photos", **frames),
        scale=ScaleSpec(method="corners", corners_px=corners),
    )
