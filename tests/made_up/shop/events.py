"""What happens in a made-up shop: light, things laid on the bag, people, the camera's place.

Glare: functions of frame that give what is added on the panel.
Light: functions of (frame, x_mm, y_mm) that give a factor (blue, green, red), or a field of them.
Things on the bag: functions of (frame, picture, to_px) that draw on the panel plane.
Things before the lens: functions of (frame, photo) that draw on the coded photo, 0 to 255.
"""

import functools
from dataclasses import replace

import cv2
import numpy as np

from tests.made_up.shop.flow import grid_mm

SKIN = (128, 154, 189)


def drift(gain=0.25, cast=0.06, frames=30):
    """Exposure and white balance that wander."""

    def light(k, _x, _y):
        s = np.sin(2 * np.pi * k / frames * 1.3)
        return (1 + gain * s) * np.array((1 + cast * s, 1.0, 1 - cast * s))

    return light


def flicker(size=0.06, seed=1):
    """Frames that jump in brightness."""
    steps = np.random.default_rng(seed).normal(0, size, 500)
    return lambda k, _x, _y: np.full(3, np.exp(steps[k]))


def flash(gains):
    """Frames that came out darker or brighter, by a factor each."""
    return lambda k, _x, _y: np.full(3, gains.get(k, 1.0))


def lamp(from_frame, until=10**9, strength=0.9, at_mm=(330, -60), reach_mm=260.0):
    """A yellowish lamp switched on, and perhaps off again."""

    def light(k, x, y):
        if not from_frame <= k < until:
            return np.ones(3)
        near = 1 / (1 + ((x - at_mm[0]) ** 2 + (y - at_mm[1]) ** 2) / reach_mm**2)
        return 1 + strength * near[..., None] * np.array((0.7, 0.95, 1.1))

    return light


def shadow(width_mm=110.0, speed_mm=9.0, depth=0.45, from_mm=-60.0):
    """A soft shadow that creeps over the panel."""

    def light(k, x, y):
        away = (x + 0.3 * y - from_mm - speed_mm * k) / (width_mm / 2)
        return (1 - depth * np.exp(-(away**4)))[..., None] * np.ones(3)

    return light


def sun(k0=0, k1=10**9, at_mm=(60, 40), speed_mm=(4.0, 1.0), size_mm=(60, 40), strength=0.6):
    """A sun patch that moves over the panel or, with no speed, comes and stays."""

    def light(k, x, y):
        if not k0 <= k < k1:
            return np.ones(3)
        dx = np.abs(x - at_mm[0] - speed_mm[0] * (k - k0)) - size_mm[0] / 2
        dy = np.abs(y - at_mm[1] - speed_mm[1] * (k - k0)) - size_mm[1] / 2
        inside = 1 / (1 + np.exp(np.clip(np.maximum(dx, dy) / 1.5, -30, 30)))
        return 1 + strength * inside[..., None] * np.array((0.85, 1.0, 1.1))

    return light


def glare(lines=7, strength=0.25, settles_at=12, moves_mm=7.0, seed=4):
    """Light mirrored in bag wrinkles, which lie elsewhere once the bag has settled (added)."""
    rng = np.random.default_rng(seed)
    ends = rng.uniform((0, 0, 0, 0), (280, 150, 280, 150), (lines, 4))

    @functools.cache
    def lines_at(shift):
        x, y = grid_mm()
        total = np.zeros(x.shape, np.float32)
        for ax, ay, bx, by in ends + shift * np.array((1.0, 0.6, 1.0, 0.6)):
            long = max(np.hypot(bx - ax, by - ay), 1.0)
            nx, ny = -(by - ay) / long, (bx - ax) / long
            along = ((x - (ax + bx) / 2) * ny - (y - (ay + by) / 2) * nx) / long
            away = (x - ax) * nx + (y - ay) * ny
            total += np.exp(-((away / 1.4) ** 2)) * (np.abs(along) < 0.6)
        return strength * total

    return lambda k: lines_at(moves_mm if k >= settles_at else 0.0)


def pen(flow, times_s, at_frames, ahead_mm=2.0, figures=True):
    """Front lines drawn on the bag at some frames, a little ahead of the front, that stay."""

    def draw(k, picture, to_px):
        for number, frame in enumerate(at_frames):
            if k < frame:
                continue
            lanes = flow.lanes_mm(times_s[frame])
            rows = np.arange(6, len(lanes) - 6, 12)
            points = np.stack([lanes[rows] + ahead_mm, (rows + 0.5) / 2], axis=1)
            line = to_px(points).astype(np.int32).reshape(-1, 1, 2)
            cv2.polylines(picture, [line], False, (0.03, 0.02, 0.02), 3, cv2.LINE_AA)
            if figures:
                at = to_px(points[len(points) // 3][None] + (5, 0))[0]
                write(picture, f"{number + 2}.{frame % 10}", at)

    return draw


def write(picture, text, at):
    """Write on the bag."""
    mask = np.zeros(picture.shape[:2], np.uint8)
    place = (int(at[0]), int(at[1]))
    cv2.putText(mask, text, place, cv2.FONT_HERSHEY_SIMPLEX, 0.9, 255, 3, cv2.LINE_AA)
    picture[mask > 90] = (0.03, 0.02, 0.02)


def cup(from_frame, until, at_mm=(190, 60), radius_mm=22.0):
    """A cup set down on the panel; left there if `until` is past the end."""

    def draw(k, picture, to_px):
        if from_frame <= k < until:
            (x, y), edge = to_px(np.array([at_mm]))[0], to_px(np.array([[at_mm[0] + radius_mm, 0]]))
            radius = int(abs(edge[0, 0] - x))
            at = (int(x), int(y))
            cv2.circle(picture, (at[0] + 8, at[1] + 8), radius, (0.05, 0.05, 0.05), -1, cv2.LINE_AA)
            cv2.circle(picture, at, radius, (0.10, 0.12, 0.50), -1, cv2.LINE_AA)
            cv2.circle(picture, at, radius * 3 // 4, (0.02, 0.03, 0.05), -1, cv2.LINE_AA)

    return draw


def card_cover(from_frame, until, at_mm, half_mm=32.0):
    """A rag laid on one marker."""

    def draw(k, picture, to_px):
        if from_frame <= k < until:
            a = to_px(np.array([[at_mm[0] - half_mm, at_mm[1] - half_mm]]))[0].astype(int)
            b = to_px(np.array([[at_mm[0] + half_mm, at_mm[1] + half_mm]]))[0].astype(int)
            cv2.rectangle(picture, tuple(map(int, a)), tuple(map(int, b)), (0.3, 0.2, 0.12), -1)

    return draw


def hand(frames, at=(0.45, 0.5), wander=0.12, seed=2):
    """A hand with its arm reaching in from below in some frames."""
    places = np.random.default_rng(seed).uniform(-wander, wander, (500, 2)) + at

    def draw(k, photo):
        if k in frames:
            height, width = photo.shape[:2]
            x, y = (places[k] * (width, height)).astype(int)
            unit = max(width, height) // 16
            cv2.line(photo, (int(x), int(y)), (int(x + unit), height + 9), SKIN, unit, cv2.LINE_AA)
            cv2.ellipse(photo, (int(x), int(y)), (unit, unit * 4 // 3), 20, 0, 360, SKIN, -1)
            for finger in range(4):
                tip = (int(x + (finger - 1.5) * unit * 0.5), int(y - 2 * unit))
                cv2.line(photo, (int(x), int(y)), tip, SKIN, unit // 3, cv2.LINE_AA)

    return draw


def person(frames):
    """Somebody leaning over: head and shoulders hide much of the panel, and darken the rest."""

    def draw(k, photo):
        if k in frames:
            height, width = photo.shape[:2]
            photo *= 0.8
            at = (int(width * 0.35 + 7 * (k % 3)), int(height * 0.85))
            cv2.ellipse(photo, at, (width // 4, height // 3), 8, 0, 360, (104, 76, 65), -1)
            top = (at[0] + 20, at[1] - height // 3)
            cv2.circle(photo, top, height // 8, (52, 65, 76), -1)

    return draw


def cover(frames, tone=43.0):
    """The lens covered."""

    def draw(k, photo):
        if k in frames:
            photo[:] = tone

    return draw


def blurred(sigma):
    """Out of focus throughout, or by a function of the frame."""

    def draw(k, photo):
        s = sigma(k) if callable(sigma) else sigma
        photo[:] = cv2.GaussianBlur(photo, (0, 0), s)

    return draw


def still(pose):
    """A camera that stays."""
    return lambda k: pose


def bump(pose, at_frame, tilt_deg=0.7, turn_deg=1.2, aside_mm=(8.0, -5.0), zoom=0.98):
    """A camera knocked once: shift, turn and zoom."""
    x, y = pose.middle_mm
    after = replace(
        pose,
        tilt_deg=pose.tilt_deg + tilt_deg,
        turn_deg=pose.turn_deg + turn_deg,
        reach_mm=pose.reach_mm * zoom,
        middle_mm=(x + aside_mm[0], y + aside_mm[1]),
    )
    return lambda k: pose if k < at_frame else after


def sag(pose, frames=30, tilt_deg=2.5, aside_mm=(0.0, 14.0)):
    """A holder that gives way slowly."""

    def place(k):
        s = k / frames
        x, y = pose.middle_mm
        middle = (x + s * aside_mm[0], y + s * aside_mm[1])
        return replace(pose, tilt_deg=pose.tilt_deg + s * tilt_deg, middle_mm=middle)

    return place


def breathing(pose, size=0.004):
    """Auto-focus that changes the picture's scale from frame to frame."""
    return lambda k: replace(pose, focal=pose.focal * (1 + size * np.sin(2.1 * k)))
