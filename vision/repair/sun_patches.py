"""Sun that fell on what was wet already, and made it look dry again."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.records import BoolArray, IntArray
from vision.repair.inpaint import Course, Sighting, fill_wet_frame
from vision.settings.repair_settings import RepairSettings


def restore_sunlit(
    sighting: Sighting, onset: IntArray, course: Course, settings: RepairSettings
) -> Sighting:
    """Return the sighting with earlier wet frames where sun made what was wet look dry.

    What is wet stays wet. Where a patch looked wet for a while just when the front went by on
    both sides of it, and looks dry again since, the light has changed and not the fabric. The
    rim of the sun, which reads as neither, is not seen.

    Parameters
    ----------
    sighting : Sighting
    onset : ndarray of shape (M, N), int
        Frame at which each pixel first looked wet for a while.
    course : Course
    settings : RepairSettings
    """
    wet_frame, seen = sighting.wet_frame, sighting.seen
    patch = settings.window(settings.sun_patch_mm)
    late = seen & (onset < len(course.times_s)) & (wet_frame - onset > settings.sun_frames)
    doubtful = cv2.morphologyEx(late.astype(np.uint8), cv2.MORPH_OPEN, patch) > 0
    if not doubtful.any():
        return sighting
    rim = settings.window(settings.sun_rim_mm)
    expected = _without(np.asarray(doubtful), sighting, course, settings)
    tolerance = settings.sun_frames + settings.sun_share * expected
    early = np.abs(onset - expected) <= tolerance
    sunlit = doubtful & early
    around = cv2.dilate(sunlit.astype(np.uint8), rim) > 0
    around &= ~sunlit & (wet_frame > expected + settings.sun_frames)
    return replace(sighting, wet_frame=np.where(sunlit, onset, wet_frame), seen=seen & ~around)


def _without(
    doubtful: BoolArray, sighting: Sighting, course: Course, settings: RepairSettings
) -> IntArray:
    """Return the wet frames as what lies around the doubtful patches has them."""
    rim = settings.window(settings.sun_rim_mm)
    clear = np.asarray(cv2.dilate(doubtful.astype(np.uint8), rim) == 0)
    around = Sighting(
        wet_frame=sighting.wet_frame,
        last_dry=sighting.wet_frame - 1,
        first_wet=sighting.wet_frame,
        seen=sighting.seen & clear,
        blank=np.zeros(doubtful.shape, bool),
    )
    return fill_wet_frame(around, course, settings)[0]
