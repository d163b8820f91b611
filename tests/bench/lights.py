"""Lights that a shop's windows and lamps may throw on a run's photos, drawn by chance.

Each is a `tests.bench.conditions.Change`: bands of shadow of any width, depth, way and speed, one
or two; the edge of a shadow that creeps in and stays; clouds; a lamp switched on at one side; a
patch of sun. All are fields that multiply the light, in shares of the picture.
"""

import zlib
from collections.abc import Callable

import numpy as np

from tests.bench.conditions import Change, Photos, panel_field

Field = Callable[[float, np.ndarray, np.ndarray], np.ndarray]
"""From share of the run and places to what the light is multiplied by."""


def _way(rng: np.random.Generator) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """Return a place's share, -0.5 to 0.5 over the picture, along a way drawn by chance."""
    turn = rng.uniform(0, 2 * np.pi)
    long = abs(np.cos(turn)) + abs(np.sin(turn))
    return lambda x, y: ((x - 0.5) * np.cos(turn) + (y - 0.5) * np.sin(turn)) / long


def band(rng: np.random.Generator) -> Field:
    """A dark band that crosses the picture, quicker or slower than the run."""
    along, wide, depth = _way(rng), rng.uniform(0.05, 0.3), rng.uniform(0.2, 0.55)
    speed, begins = rng.uniform(0.4, 2.5), rng.uniform(-0.9, -0.2)
    sharp = rng.choice([2.0, 4.0, 12.0])

    def draw(s, x, y):
        far = np.minimum(np.abs((along(x, y) - begins - speed * s) / wide), 4.0)
        return 1 - depth * np.exp(-(far**sharp))

    return draw


def two_bands(rng: np.random.Generator) -> Field:
    """Two bands, each its own way."""
    one, other = band(rng), band(rng)
    return lambda s, x, y: one(s, x, y) * other(s, x, y)


def edge(rng: np.random.Generator) -> Field:
    """The edge of a shadow, or of the sun, that creeps in and stays."""
    along, soft, speed = _way(rng), rng.uniform(0.005, 0.1), rng.uniform(0.3, 1.5)
    size, begins = rng.uniform(0.2, 0.5), rng.uniform(-0.8, 0.0)
    gone = rng.random() < 0.6

    def draw(s, x, y):
        past = 1 / (1 + np.exp(np.clip((along(x, y) - begins - speed * s) / soft, -30, 30)))
        return 1 - size * past if gone else 1 + size * past

    return draw


def clouds(rng: np.random.Generator) -> Field:
    """Soft patches that drift and change over the whole run."""
    size = rng.uniform(0.08, 0.25)
    waves = [
        (*rng.normal(0, 6.0, 2), rng.uniform(-12, 12), rng.uniform(0, 2 * np.pi)) for _ in range(8)
    ]

    def draw(s, x, y):
        total = sum(np.sin(a * x + b * y + c * s + d) for a, b, c, d in waves)
        return np.exp(size * total / 2.0)

    return draw


def lamp(rng: np.random.Generator) -> Field:
    """A lamp at one side that is switched on, and perhaps off again."""
    along, size, steep = _way(rng), rng.uniform(0.15, 0.6), rng.uniform(1.0, 4.0)
    on = rng.uniform(0.1, 0.8)
    off = on + rng.uniform(0.1, 1.0)

    def draw(s, x, y):
        now = size if on < s < off else 0.0
        return 1 + now * np.exp(-steep * (along(x, y) + 0.5))

    return draw


def sun(rng: np.random.Generator) -> Field:
    """A window's patch of sun that comes, wanders and may go."""
    (x0, y0), (dx, dy) = rng.uniform(0.15, 0.7, 2), rng.uniform(-0.4, 0.4, 2)
    (wide, high), size = rng.uniform(0.06, 0.25, 2), rng.uniform(0.25, 0.8)
    comes, soft = rng.uniform(0.0, 0.6), rng.choice([0.004, 0.02])
    goes = comes + rng.uniform(0.2, 1.0)

    def draw(s, x, y):
        if not comes < s < goes:
            return np.ones_like(x)
        far = np.maximum(np.abs(x - x0 - dx * s) - wide, np.abs(y - y0 - dy * s) - high)
        return 1 + size / (1 + np.exp(np.clip(far / soft, -30, 30)))

    return draw


KINDS = (band, band, band, two_bands, edge, clouds, lamp, sun)
"""What is drawn; a band is what a beam or a passer-by makes of the sun."""


def by_chance(number: int) -> Change:
    """Return a light drawn by chance, for each run another."""

    def change(photos: Photos) -> Photos:
        own = zlib.crc32(f"{number} {photos.names[0]} {len(photos.names)}".encode())
        size = photos.images[0].shape
        rng = np.random.default_rng([own, size[0], size[1], int(photos.images[0].mean() * 1000)])
        field = KINDS[rng.integers(len(KINDS))](rng)
        return panel_field(photos, field)

    return change


LIGHTS: dict[str, Change] = {f"light {number}": by_chance(number) for number in range(1, 13)}
"""Twelve lights for each run."""
