"""What a shop may do to the photos of a run, added to photos that are at hand.

Each condition is a function of a `Photos` that gives another: the pictures, their names and
times, and the settings where those must follow (corners, when a picture is turned). Light is
worked on in linear values, and clipped as a camera does.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.scale.find_scale import find_scale
from vision.settings.panel_settings import PanelSetup

GAMMA = 2.2
"""Code of the pictures, near enough to that of a camera (common practice, no source)."""


@dataclass(frozen=True)
class Photos:
    """A run's photos in time order, with the true mean front of each in mm."""

    setup: PanelSetup
    names: tuple[str, ...]
    clock_s: np.ndarray
    images: list[np.ndarray]
    true_mm: np.ndarray

    def some(self, chosen) -> "Photos":
        """Keep the chosen photos."""
        order = np.arange(len(self.names))[chosen]
        return replace(
            self,
            names=tuple(self.names[i] for i in order),
            clock_s=self.clock_s[order],
            images=[self.images[i] for i in order],
            true_mm=self.true_mm[order],
        )


Change = Callable[[Photos], Photos]


def each(photos: Photos, change: Callable[[int, np.ndarray], np.ndarray]) -> Photos:
    """Change every picture; `change` is given its number and the picture."""
    images = [change(k, image) for k, image in enumerate(photos.images)]
    return replace(photos, images=images)


_LINEAR = ((np.arange(256) / 255.0) ** GAMMA).astype(np.float32)


def coded(linear: np.ndarray) -> np.ndarray:
    """Code linear light, 1 at white, as 8 bits."""
    bright = np.clip(linear, 0, 1) ** (1 / GAMMA)
    return np.clip(np.round(255 * bright), 0, 255).astype(np.uint8)


def lit(image: np.ndarray, factor) -> np.ndarray:
    """Multiply the light that fell on a picture by a number or a field."""
    if np.ndim(factor) == 0:
        return cv2.LUT(image, coded(_LINEAR * float(factor)))
    return coded(cv2.LUT(image, _LINEAR) * factor[..., None])


def exposure(factor: float) -> Change:
    """All photos brighter or darker."""
    return lambda photos: each(photos, lambda _, image: lit(image, factor))


def gamma(power: float) -> Change:
    """Another tone curve."""
    table = np.round(255 * (np.arange(256) / 255.0) ** power).astype(np.uint8)
    return lambda photos: each(photos, lambda _, image: cv2.LUT(image, table))


def steps(size: float = 0.16) -> Change:
    """Exposure that jumps a third of the way and back two thirds of the way."""

    def change(photos: Photos) -> Photos:
        count = len(photos.names)
        return each(
            photos,
            lambda k, image: lit(image, 1 + size) if count / 3 <= k < 2 * count / 3 else image,
        )

    return change


def flicker(size: float = 0.06) -> Change:
    """Exposure that jumps from photo to photo."""
    jumps = np.exp(np.random.default_rng(1).normal(0, size, 2000))
    return lambda photos: each(photos, lambda k, image: lit(image, jumps[k]))


def noise(size: float = 6.0) -> Change:
    """A sensor in poor light; standard deviation in codes."""

    def change(k: int, image: np.ndarray) -> np.ndarray:
        grain = np.random.default_rng(k).standard_normal(image.shape, dtype=np.float32)
        return np.clip(np.round(image + size * grain), 0, 255).astype(np.uint8)

    return lambda photos: each(photos, change)


def blur(sigma_px: float = 2.0) -> Change:
    """Out of focus."""
    return lambda photos: each(photos, lambda _, image: cv2.GaussianBlur(image, (0, 0), sigma_px))


def jpeg(quality: int = 30) -> Change:
    """Stored with much loss."""

    def change(_: int, image: np.ndarray) -> np.ndarray:
        data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        return cv2.imdecode(data, cv2.IMREAD_COLOR)

    return lambda photos: each(photos, change)


def panel_field(photos: Photos, draw) -> Change:
    """Light by place, in shares of the picture's width and height."""

    def change(k: int, image: np.ndarray) -> np.ndarray:
        rows, cols = image.shape[0] // 4, image.shape[1] // 4
        y, x = (np.indices((rows, cols)) + 0.5) / np.array([rows, cols])[:, None, None]
        field = draw(k / max(len(photos.names) - 1, 1), x, y).astype(np.float32)
        return lit(image, cv2.resize(field, image.shape[1::-1]))

    return each(photos, change)


def shadow_band(photos: Photos) -> Photos:
    """A soft dark band that creeps over the picture."""
    return panel_field(
        photos, lambda s, x, y: 1 - 0.35 * np.exp(-(((x + 0.2 * y - 1.2 * s) / 0.12) ** 4))
    )


def sun_patch(photos: Photos) -> Photos:
    """A window's patch of sun that comes a third of the way into the run and wanders slowly."""

    def draw(s, x, y):
        if s < 1 / 3:
            return np.ones_like(x)
        far = np.maximum(np.abs(x - 0.3 - 0.15 * s) - 0.1, np.abs(y - 0.5) - 0.12)
        return 1 + 0.5 / (1 + np.exp(np.clip(far / 0.004, -30, 30)))

    return panel_field(photos, draw)


def gradient(photos: Photos) -> Photos:
    """Daylight that moves from one side of the room to the other."""
    return panel_field(photos, lambda s, x, y: 1 + 0.5 * (s - 0.5) * (x - 0.5) * 2)


def hands(photos: Photos) -> Photos:
    """A hand in every sixth photo, at another place each time."""
    places = np.random.default_rng(2).uniform(0.3, 0.7, (2000, 2))

    def change(k: int, image: np.ndarray) -> np.ndarray:
        if k % 6 != 3:
            return image
        held, (height, width) = image.copy(), image.shape[:2]
        x, y = (places[k] * (width, height)).astype(int)
        unit, skin = max(width, height) // 16, (128, 154, 189)
        cv2.line(held, (int(x), int(y)), (int(x + unit), height + 9), skin, unit, cv2.LINE_AA)
        cv2.ellipse(held, (int(x), int(y)), (unit, unit * 4 // 3), 20, 0, 360, skin, -1)
        return held

    return each(photos, change)


def covered(photos: Photos) -> Photos:
    """The lens covered for three photos in the middle."""
    middle = len(photos.names) // 2
    return each(photos, lambda k, image: np.full_like(image, 43) if 0 <= k - middle < 3 else image)


def under_way(photos: Photos) -> Photos:
    """The camera began after a tenth of the way."""
    return photos.some(photos.true_mm > 0.1 * photos.true_mm.max())


def cut_short(share: float) -> Change:
    """The run ends early."""
    return lambda photos: photos.some(slice(0, max(6, int(share * len(photos.names)))))


def gap(photos: Photos) -> Photos:
    """A sixth of the photos missing in the middle."""
    at = np.arange(len(photos.names)) / len(photos.names)
    return photos.some((at < 0.4) | (at > 0.57))


def half(photos: Photos) -> Photos:
    """Every second photo."""
    return photos.some(slice(None, None, 2))


def turned(times: int) -> Change:
    """The camera held another way, by quarter turns; the corners in panel.toml go along."""

    def change(photos: Photos) -> Photos:
        height, width = photos.images[0].shape[:2]

        def place(points):
            if not points:
                return points
            moved, size = np.array(points, float), (width, height)
            for _ in range(times):
                moved = np.stack([moved[:, 1], size[0] - 1 - moved[:, 0]], axis=1)
                size = size[::-1]
            return tuple(map(tuple, moved))

        scale = photos.setup.scale
        scale = replace(
            scale,
            corners_px=place(scale.corners_px),
            tape_px=place(scale.tape_px),
            points_px=place(scale.points_px),
        )
        photos = replace(photos, setup=replace(photos.setup, scale=scale))
        return each(photos, lambda _, image: np.ascontiguousarray(np.rot90(image, times)))

    return change


def moved(image: np.ndarray, shift: tuple[float, float], turn_deg: float) -> np.ndarray:
    """Show what a camera shifted and turned would; what is out of the picture is grey."""
    height, width = image.shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn_deg, 1.0)
    matrix[:, 2] += np.array(shift) * (width, height)
    return cv2.warpAffine(image, matrix, (width, height), borderValue=(90, 90, 90))


def bump(shift: tuple[float, float], turn_deg: float) -> Change:
    """The camera knocked once, in the middle."""

    def change(photos: Photos) -> Photos:
        middle = len(photos.names) // 2
        return each(
            photos, lambda k, image: moved(image, shift, turn_deg) if k >= middle else image
        )

    return change


def sag(photos: Photos) -> Photos:
    """A holder that gives way slowly."""
    count = len(photos.names)
    return each(photos, lambda k, image: moved(image, (0.0, 0.03 * k / count), 0.5 * k / count))


def out_of_view(photos: Photos) -> Photos:
    """The camera knocked so far that 15 % of the panel leaves the picture at its far end."""
    plane = find_scale(photos.images[0], photos.setup, None)
    middle = len(photos.names) // 2
    height, width = photos.images[0].shape[:2]
    ends = plane.to_px(
        np.array([[f * plane.length_mm, 0.5 * plane.width_mm] for f in (0.0, 0.85, 1.0)])
    )
    along = ends[2] - ends[0]
    axis = int(np.argmax(np.abs(along)))
    edge = (width, height)[axis] if along[axis] > 0 else 0
    shift = np.zeros(2)
    shift[axis] = (edge - ends[1][axis]) / (width, height)[axis]
    return each(photos, lambda k, image: moved(image, tuple(shift), 0.0) if k >= middle else image)


def as_it_is(photos: Photos) -> Photos:
    """Nothing added."""
    return photos


CONDITIONS: dict[str, Change] = {
    "as it is": as_it_is,
    "exposure x 0.75": exposure(0.75),
    "exposure x 0.86": exposure(0.86),
    "exposure x 1.17": exposure(1.17),
    "exposure x 1.4": exposure(1.4),
    "gamma 0.8": gamma(0.8),
    "gamma 1.25": gamma(1.25),
    "exposure jumps by a sixth": steps(),
    "flicker": flicker(),
    "noise": noise(),
    "blur": blur(),
    "JPEG 30": jpeg(),
    "shadow band": shadow_band,
    "sun patch": sun_patch,
    "gradient": gradient,
    "hands": hands,
    "covered lens": covered,
    "gap": gap,
    "half the frames": half,
    "under way": under_way,
    "cut short at 40 %": cut_short(0.4),
    "cut short at 70 %": cut_short(0.7),
    "turned a quarter": turned(1),
    "upside down": turned(2),
    "bump": bump((0.012, -0.016), 1.0),
    "bump, 15 % out of view": out_of_view,
    "sag": sag,
}
