"""Sun that fell on what was wet already, and made it look dry again."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.records import BoolArray, IntArray
from vision.repair.inpaint import Course, Sighting, fill_wet_frame
from vision.settings.repair_settings import RepairSettings
from vision.wetting.masks import at_size


def restore_sunlit(
    sighting: Sighting, onset: IntArray, course: Course, settings: RepairSettings
) -> Sighting:
    """Return the sighting with earlier wet frames where sun made what was wet look dry.

    What is wet stays wet. Where a patch looked wet for a while just when the front went by on
    both sides of it, and looks dry again since, the light has changed and not the fabric. Where
    it shone before, and just then fell to the look of dry fabric, the sun and the wet look have
    made up for each other. The rim of the sun, which reads as neither, is not seen; nor is what
    fell at another time and yet wets long after its turn.

    Parameters
    ----------
    sighting : Sighting
    onset : ndarray of shape (M, N), int
        Frame at which each pixel first looked wet for a while.
    course : Course
    settings : RepairSettings
    """
    wet_frame, seen, count = sighting.wet_frame, sighting.seen, len(course.times_s)
    shaded, turned, dry_again = _turns(sighting, onset, count, settings)
    late = _patches(seen & (onset < count) & (dry_again > settings.sun_frames), settings)
    doubtful = _patches(late | (shaded < count) | turned, settings)
    if not doubtful.any():
        return sighting
    expected, overdue = _overdue(doubtful, sighting, course, settings)
    doubtful = late | (doubtful & overdue)
    if not doubtful.any():
        return sighting
    for turn in range(GROWS):
        # What is as late as the patch beside it must not tell when it should have wetted.
        reach = FARTHER if turn else 1
        _, overdue = _overdue(doubtful, sighting, course, settings, reach)
        doubtful |= _touching(overdue, doubtful)
    expected, overdue = _overdue(doubtful, sighting, course, settings)
    tolerance = settings.sun_frames + settings.sun_share * expected
    wetted = late & (np.abs(onset - expected) <= tolerance)
    fell = doubtful & ~wetted & overdue & seen & (np.abs(shaded - expected) <= tolerance)
    first = np.where(fell, shaded, np.where(wetted, onset, wet_frame))
    rim = settings.window(settings.sun_rim_mm)
    around = cv2.dilate((wetted | fell).astype(np.uint8), rim) > 0
    around &= wet_frame > expected + settings.sun_frames
    around |= doubtful & overdue
    restored = wetted | fell
    # What something stood before as well is bounded by what came before it alone.
    sure = restored & ~sighting.blank
    by = np.where(sure, first, np.where(restored, count, sighting.first_wet))
    return replace(
        sighting,
        wet_frame=first,
        last_dry=np.where(sure, first - 1, sighting.last_dry),
        first_wet=by,
        seen=seen & (~around | restored),
    )


GROWS = 4
"""Times that a patch is made larger by what is out of step beside it, at the most."""

FARTHER = 2
"""From the second time on, what lies so many rims around it has no say in what is out of step."""


def _patches(mask: BoolArray, settings: RepairSettings) -> BoolArray:
    """Return what of a mask is as broad as a patch of sun."""
    window = settings.window(settings.sun_patch_mm)
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, window) > 0)


def _turns(
    sighting: Sighting, onset: IntArray, count: int, settings: RepairSettings
) -> tuple[IntArray, BoolArray, IntArray]:
    """Find where patches shone, or looked wet, well before they wetted by their votes.

    Returns
    -------
    shaded : ndarray of shape (M, N), int
        Frame at which each last fell from the brighter look to that of dry fabric; `count` if
        never.
    turned : ndarray of shape (M, N), bool
        Whether it looked wet, and then dry again.
    dry_again : ndarray of shape (M, N), int
        Frames between onset and wetting in which it looked dry.
    """
    shape, looks = sighting.seen.shape, sighting.looks
    if looks is None:
        return np.full(shape, count), np.zeros(shape, bool), sighting.wet_frame - onset
    small = looks.wet.shape[1:]
    rows, cols = (np.minimum(2 * np.arange(n), m - 1) for n, m in zip(small, shape, strict=True))
    wet_frame, first = (frames[np.ix_(rows, cols)] for frames in (sighting.wet_frame, onset))
    least = wet_frame - settings.sun_frames
    shaded, turned = np.full(small, count, np.int16), np.zeros(small, bool)
    dry_again = np.zeros(small, np.int16)
    for k in range(count):
        if k and looks.bright[k - 1].any():
            np.copyto(shaded, k, where=looks.bright[k - 1] & ~looks.bright[k] & (k < least))
        turned |= looks.wet[k] & (k < least)
        dry_again += looks.dry[k] & (first <= k) & (k < wet_frame)
    size = (shape[1], shape[0])
    wide: list[IntArray] = [
        np.asarray(cv2.resize(frames, size, interpolation=cv2.INTER_NEAREST), np.int16)
        for frames in (shaded, dry_again)
    ]
    return wide[0], at_size(turned, shape), wide[1]


def _overdue(
    doubtful: BoolArray,
    sighting: Sighting,
    course: Course,
    settings: RepairSettings,
    reach: int = 1,
) -> tuple[IntArray, BoolArray]:
    """Return when each should have wetted by what lies around the patches, and what is overdue.

    What was not seen may be overdue, too: it joins what was seen on either side of it.
    """
    expected = _without(doubtful, sighting, course, settings, reach)
    late = expected + settings.sun_frames + settings.sun_share * expected
    return expected, np.asarray(sighting.wet_frame > late)


def _touching(mask: BoolArray, other: BoolArray) -> BoolArray:
    """Return the connected pieces of a mask that touch another."""
    count, labels = cv2.connectedComponents((mask | other).astype(np.uint8), connectivity=4)
    touched = np.zeros(count, bool)
    touched[labels[other]] = True
    touched[0] = False
    return np.asarray(touched[labels] & mask)


def _without(
    doubtful: BoolArray,
    sighting: Sighting,
    course: Course,
    settings: RepairSettings,
    reach: int,
) -> IntArray:
    """Return the wet frames as what lies around the doubtful patches, by so many rims, has them."""
    rim = settings.window(reach * settings.sun_rim_mm)
    clear = np.asarray(cv2.dilate(doubtful.astype(np.uint8), rim) == 0)
    around = Sighting(
        wet_frame=sighting.wet_frame,
        last_dry=sighting.wet_frame - 1,
        first_wet=sighting.wet_frame,
        seen=sighting.seen & clear,
        blank=np.zeros(doubtful.shape, bool),
    )
    return fill_wet_frame(around, course, settings)[0]
