"""A small made-up shop: runs photographed with exact truth, quickly and the same each time.

The panel plane is drawn in linear light, lit, and photographed through a camera of known place:
twice oversampled, blurred by the lens, with noise, coded as 8 bits and as JPEG.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.made_up import camera
from tests.made_up.shop import events as shop_events
from tests.made_up.shop import fabric as shop_fabric
from tests.made_up.shop.flow import PX_PER_MM, SIZE_MM, Clock, Flow, straight
from vision.frames.reader import Frames
from vision.records import Frame
from vision.scale.plane_map import apply_homography, panel_corners_mm
from vision.settings.frame_settings import FrameSource
from vision.settings.panel_settings import PanelSetup
from vision.settings.scale_settings import ScaleSpec

CARDS_MM = ((30.0, -52.0), (250.0, -52.0), (250.0, 202.0), (30.0, 202.0))
CARD_MM = 40.0
MARGIN_MM = 100
CLOCK_S = 1.9e9
"""Time 0 of the runs on the frames' clock, which counts from 1970."""

OVER = 2


@dataclass(frozen=True)
class Pose:
    """Where the camera is; `focal` in picture widths (the longer side)."""

    tilt_deg: float = 24.0
    turn_deg: float = 6.0
    reach_mm: float = 700.0
    middle_mm: tuple[float, float] = (140.0, 70.0)
    focal: float = 1.15

    def matrix(self, size):
        """Panel mm to ideal pixels."""
        t, r = np.deg2rad([self.tilt_deg, self.turn_deg])
        spin = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
        lean = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
        place = -lean @ spin @ np.array([*self.middle_mm, 0.0]) + [0, 0, self.reach_mm]
        f = self.focal * max(size)
        lens = np.array([[f, 0, (size[0] - 1) / 2], [0, f, (size[1] - 1) / 2], [0, 0, 1]])
        found = lens @ np.column_stack([(lean @ spin)[:, :2], place])
        return found / found[2, 2]


Light = Callable[[int, np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True, eq=False)
class Shop:
    """One run: what was tested, how it looks, and what happened meanwhile."""

    flow: Flow = field(default_factory=lambda: Flow(straight(), Clock()))
    times_s: np.ndarray = field(default_factory=lambda: even_times())
    fabric: str = "white glass"
    over: tuple[str, ...] = ()
    look: str = "deepening"
    size: tuple[int, int] = (640, 360)
    pose: Callable[[int], Pose] = field(default_factory=lambda: shop_events.still(Pose()))
    k1: float = 0.0
    cards: bool = False
    light: tuple[Light, ...] = ()
    glare: Callable[[int], np.ndarray] | None = None
    on_bag: tuple[Callable, ...] = ()
    in_air: tuple[Callable, ...] = ()
    noise: float = 1.5
    start_known: bool = False
    plain_table: bool = False
    find_feed: bool = False
    clicks: int = 0


def even_times(count=28, end_s=560.0, before_s=40.0):
    """Evenly spaced times, the first two or three before the resin."""
    return np.linspace(-before_s, end_s, count)


class ShopFrames(Frames):
    """The photos of a run, in memory, in time order."""

    def __init__(self, shop):
        self._photos = photograph(shop)
        self.notes = []
        self.names = tuple(f"{i:03d}.jpg" for i in range(len(self._photos)))
        self.clock_s = CLOCK_S + np.asarray(shop.times_s, float)
        self.size = (self._photos[0].shape[1], self._photos[0].shape[0])

    def __iter__(self) -> Iterator[Frame]:
        return (self.read(i) for i in range(len(self)))

    def read(self, index: int) -> Frame:
        return Frame(index, self.names[index], float(self.clock_s[index]), self._photos[index])


def setup_of(shop):
    """Give panel.toml's content; corners are read off by hand zoomed in, as the tool asks."""
    if shop.cards:
        scale = ScaleSpec(method="sheet", marker_mm=CARD_MM, marker_centres_mm=CARDS_MM)
    else:
        ideal = apply_homography(shop.pose(0).matrix(shop.size), panel_corners_mm(*SIZE_MM))
        corners = distort(ideal, shop.k1, shop.pose(0), shop.size)
        corners += np.random.default_rng(shop.clicks).normal(0, 0.3, corners.shape)
        scale = ScaleSpec(method="corners", corners_px=tuple(map(tuple, corners)))
    here = Path("panel")
    point = shop.flow.point_mm
    return PanelSetup(
        folder=here,
        file=here / "panel.toml",
        name="roof cover",
        length_mm=float(SIZE_MM[0]),
        width_mm=float(SIZE_MM[1]),
        flow="edge" if point is None else "point",
        feed_point_mm=None if shop.find_feed else point,
        feed_radius_mm=None if point is None else 4.0,
        frames=FrameSource(here, "photos"),
        scale=scale,
    )


def distort(ideal_px, k1, pose, size):
    """Ideal to recorded pixels: Brown's radial term with the true focal length."""
    middle = (np.array(size) - 1) / 2
    q = (ideal_px - middle) / (pose.focal * max(size))
    return q * (1 + k1 * (q**2).sum(axis=1, keepdims=True)) * pose.focal * max(size) + middle


def rays(shop, k):
    """Where each oversampled pixel looks on the panel plane, as maps into its picture."""
    pose, size = shop.pose(k), shop.size
    x, y = np.meshgrid(*((np.arange(n * OVER, dtype=np.float32) + 0.5) / OVER - 0.5 for n in size))
    if shop.k1:
        f = pose.focal * max(size)
        cx, cy = (size[0] - 1) / 2, (size[1] - 1) / 2
        u0, v0 = (x - cx) / f, (y - cy) / f
        u, v = u0, v0
        for _ in range(4):
            factor = 1 + shop.k1 * (u * u + v * v)
            u, v = u0 / factor, v0 / factor
        x, y = u * f + cx, v * f + cy
    b = np.linalg.inv(pose.matrix(size)).astype(np.float32)
    w = b[2, 0] * x + b[2, 1] * y + b[2, 2]
    mm_x = (b[0, 0] * x + b[0, 1] * y + b[0, 2]) / w
    mm_y = (b[1, 0] * x + b[1, 1] * y + b[1, 2]) / w
    px_x, px_y = (((v + MARGIN_MM) * PX_PER_MM - 0.5).astype(np.float32) for v in (mm_x, mm_y))
    return cv2.convertMaps(px_x, px_y, cv2.CV_16SC2)


def to_plane_px(points_mm):
    """Panel mm to pixels of the plane's picture."""
    return (np.asarray(points_mm, float) + MARGIN_MM) * PX_PER_MM - 0.5


def bench(shop):
    """Table, cards, sealant tape and feed line; the panel comes later."""
    shape = tuple((s + 2 * MARGIN_MM) * PX_PER_MM for s in SIZE_MM[::-1])
    picture = shop_fabric.table(shape)
    if shop.plain_table:
        picture[:] = (0.16, 0.20, 0.23)
    low, high = np.array([-11.0, -11.0]), np.array(SIZE_MM) + 11.0
    corners = [tuple(map(int, to_plane_px(p))) for p in (low, high)]
    cv2.rectangle(picture, *corners, (0.30, 0.42, 0.45), 9 * PX_PER_MM // 2)
    if shop.cards:
        for number, centre in enumerate(CARDS_MM):
            lay_card(picture, number, centre)
    return picture


def lay_card(picture, number, centre_mm):
    """Lay a printed marker with its white rim."""
    cells = camera.marker(number, 20)
    card = np.full((160, 160), 0.75, np.float32)
    card[20:-20, 20:-20] = np.where(cells > 0, 0.75, 0.02)
    side = round(CARD_MM * 8 / 6 * PX_PER_MM)
    card = cv2.resize(card, (side, side), interpolation=cv2.INTER_AREA)
    shift = to_plane_px(centre_mm) - (side - 1) / 2
    move = np.array([[1, 0, shift[0]], [0, 1, shift[1]]])
    size = picture.shape[1::-1]
    laid = cv2.warpAffine(card, move, size)
    mask = cv2.warpAffine(np.ones_like(card), move, size)[..., None]
    picture += mask * (laid[..., None] - picture)


def feed_line(picture, shop, time_s):
    """The feed line beside the panel fills half a minute before the panel does."""
    full = time_s > shop.flow.clock.start_s - 30
    a, b = (tuple(map(int, to_plane_px(p))) for p in ((-7, 2), (-7, SIZE_MM[1] - 2)))
    tone = (0.20, 0.22, 0.25) if full else (0.55, 0.56, 0.55)
    cv2.line(picture, a, b, tone, 4 * PX_PER_MM, cv2.LINE_AA)


def photograph(shop):
    """Take all photos of a run; a list of ndarrays of shape (H, W, 3), uint8."""
    table = bench(shop)
    dry, wet = shop_fabric.panel(shop.fabric, shop.over)
    rows, cols = (slice(MARGIN_MM * PX_PER_MM, (MARGIN_MM + s) * PX_PER_MM) for s in SIZE_MM[::-1])
    xs, ys = (np.asarray(v, np.float32) for v in light_grid(table.shape))
    bank = np.random.default_rng(17).normal(0, shop.noise, (3, shop.size[1], shop.size[0], 3))
    bank = bank.astype(np.float32)
    maps, pose, photos = None, None, []
    for k, time_s in enumerate(shop.times_s):
        picture = table.copy()
        if shop.flow.point_mm is None:
            feed_line(picture, shop, time_s)
        now = float(shop.flow.clock(time_s))
        behind = (now - shop.flow.reach_mm).astype(np.float32)
        share = shop_fabric.wet_share(behind, shop.look) if now > 0 else np.zeros_like(behind)
        picture[rows, cols] = dry + (wet - dry) * share[..., None]
        for draw in shop.on_bag:
            draw(k, picture, to_plane_px)
        picture *= cv2.resize(falling(shop, k, xs, ys), table.shape[1::-1])
        if shop.glare is not None:
            picture[rows, cols] += shop.glare(k)[..., None]
        if maps is None or shop.pose(k) != pose:
            maps, pose = rays(shop, k), shop.pose(k)
        coded = coded_8_bit(picture)
        photo = cv2.remap(coded, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        photo = cv2.resize(photo, shop.size, interpolation=cv2.INTER_AREA).astype(np.float32)
        photo = cv2.GaussianBlur(photo, (0, 0), 0.6)
        for draw in shop.in_air:
            draw(k, photo)
        photos.append(develop(photo, bank[k % 3], k))
    return photos


def light_grid(shape):
    """Coarse places at which the light is worked out, in mm: every 4th pixel."""
    x = (np.arange(0, shape[1], 4) + 2) / PX_PER_MM - MARGIN_MM
    y = (np.arange(0, shape[0], 4) + 2) / PX_PER_MM - MARGIN_MM
    return np.meshgrid(x, y)


def falling(shop, k, xs, ys):
    """The light of one frame, with a little vignetting that never changes."""
    field = 1 - 0.15 * (((xs - 140) / 250) ** 2 + ((ys - 75) / 250) ** 2)
    total = np.repeat(field[..., None], 3, axis=2)
    for light in shop.light:
        total = total * light(k, xs, ys)
    return total.astype(np.float32)


_CODE = np.round(255 * (np.arange(4096) / 4095) ** (1 / 2.2)).astype(np.uint8)


def coded_8_bit(picture):
    """Code linear light as a camera does."""
    return _CODE[np.clip(picture * 4095, 0, 4095).astype(np.uint16)]


def develop(photo, noise, k):
    """Add noise, and go through JPEG as the phone does."""
    noisy = photo + np.roll(noise, 37 * k, axis=1)
    eight = np.clip(np.round(noisy), 0, 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", eight, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


def write_folder(shop, folder, order, turned=False):
    """Write a run as a panel folder of JPEG photos with capture times.

    Parameters
    ----------
    shop : Shop
    folder : Path
    order : sequence of int
        Number in the file name of each photo.
    turned : bool
        Store the pixels a quarter turn off and say so in EXIF, as phones do.
    """
    (folder / "frames").mkdir(parents=True)
    start = datetime(2030, 5, 6, 9, 0, 0)
    for number, photo, time_s in zip(order, photograph(shop), shop.times_s, strict=True):
        exif = Image.Exif()
        taken = start + timedelta(seconds=float(time_s))
        exif.get_ifd(0x8769)[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
        if turned:
            photo, exif[0x0112] = cv2.rotate(photo, cv2.ROTATE_90_COUNTERCLOCKWISE), 6
        picture = Image.fromarray(np.ascontiguousarray(photo[..., ::-1]))
        picture.save(folder / "frames" / f"photo_{number}.jpg", quality=92, exif=exif)
    centres = [list(c) for c in CARDS_MM]
    (folder / "panel.toml").write_text(
        f"[panel]\nlength_mm = {SIZE_MM[0]}\nwidth_mm = {SIZE_MM[1]}\n"
        f'[scale]\nmethod = "sheet"\nmarker_mm = {CARD_MM}\nmarker_centres_mm = {centres}\n',
        encoding="utf-8",
    )
