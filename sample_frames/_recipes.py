"""The sample panels: what was tested, in which shop, with which physics."""

from __future__ import annotations

from dataclasses import dataclass

from sample_frames._camera import Camera, Lamp
from sample_frames._flow import Flow
from sample_frames._scene import Look, Reach


@dataclass(frozen=True)
class Recipe:
    """One panel folder.

    `hands` maps a frame number to the hand in it; `shadow` is how strong the shadow of somebody
    walking by is; `video` is (frames per second, speed-up) or None for photos.
    """

    name: str
    title: str
    seed: int
    flow: Flow
    look: Look | None
    start: str
    answer: str
    part: tuple[float, float, float]
    gel_time_min: float
    density_kg_m3: float = 1100.0
    temperature_c: float = 22.0
    photos: int = 45
    before: int = 3
    first_number: int = 1
    shadow: float = 0.2
    hands: tuple[tuple[int, Reach], ...] = ()
    video: tuple[float, float] | None = None


GLASS_EDGE = Recipe(
    name="glass_edge",
    title="Roof cover laminate A, white glass cloth, edge feed",
    seed=41,
    flow=Flow(420, 240, 9.4e-11, 94_000, 0.49, 0.21, log_sd=0.32, mottle_mm=0.9),
    look=Look(
        camera=Camera((218, 128), 765, 31, -14, 2.5, 1215, k1=-0.02),
        bench="gelcoat",
        fabric="glass",
        pitch_mm=3.6,
        twill=False,
        tape=(0.47, 0.43, 0.36),
        lamps=(Lamp(-250, -560, 620, 40, 13), Lamp(700, 830, 1100, 60, 18)),
        note=("roof cover A", "2x glass, 22 C"),
        marker_mm=36,
    ),
    start="2024-05-14T09:12:37.400+02:00",
    answer="The 650 mm run of the part fills in about 41 min, well within the gel time of 100 min.",
    part=(650, 1.9, 3.2),
    gel_time_min=100,
    first_number=212,
    hands=(
        (9, Reach((640, 470), -62)),
        (10, Reach((668, 452), -58)),
        (21, Reach((760, 250), 118, 0.92)),
        (33, Reach((905, 420), 197, 1.0, False)),
        (38, Reach((860, 520), -75, 1.05)),
    ),
)

GLASS_VIDEO = Recipe(
    name="glass_video",
    title="Roof cover laminate B, glass cloth, time-lapse",
    seed=52,
    flow=Flow(400, 220, 1.5e-10, 95_000, 0.52, 0.19, log_sd=0.28, mottle_mm=0.8),
    look=Look(
        camera=Camera((205, 114), 728, 26, 17, -2.0, 1180),
        bench="film_ply",
        fabric="glass",
        pitch_mm=4.4,
        twill=True,
        tape=(0.055, 0.055, 0.058),
        lamps=(Lamp(330, -520, 22, 420, 9), Lamp(-1180, 300, 60, 900, 18)),
        note=("roof cover B", "time-lapse x30"),
        marker_mm=36,
        noise=0.45,
    ),
    start="2024-05-15T13:40:05.000+02:00",
    answer="The 620 mm run of the part needs about 22 min of a gel time of 30 min: tight.",
    part=(620, 1.6, 3.0),
    gel_time_min=30,
    shadow=0.22,
    hands=tuple(
        (i, Reach((1010 - 9.0 * abs(i - 70.0) ** 1.4, 360 + 4.0 * (i - 70)), 190, 0.95, i > 68))
        for i in range(66, 75)
    )
    + tuple(
        (i, Reach((560 + 14 * (i - 112), 430 + 60 * abs(i - 113)), -80)) for i in range(111, 116)
    ),
    video=(8.0, 30.0),
)

CARBON_CORNERS = Recipe(
    name="carbon_corners",
    title="Antenna hood laminate, carbon twill, panel corners as scale",
    seed=63,
    flow=Flow(380, 230, 3.2e-11, 92_000, 0.46, 0.12, log_sd=0.26, mottle_mm=0.7),
    look=Look(
        camera=Camera((192, 112), 660, 27, 12, -1.5, 1200),
        bench="melamine",
        fabric="carbon",
        pitch_mm=3.4,
        twill=True,
        tape=(0.42, 0.38, 0.40),
        lamps=(
            Lamp(-250, -660, 700, 40, 5),
            Lamp(250, 880, 1300, 55, 10),
            Lamp(350, 60, 250, 120, 0.45, 330),
        ),
        note=("hood 7", "carbon 4 ply"),
        bench_gloss=0.25,
        deepen_mm=12,
        brightness=1.25,
        wrinkles=80,
    ),
    start="2024-06-04T07:51:20.250+02:00",
    answer="The 900 mm run of the part needs about 127 min, more than the gel time: gels first.",
    part=(900, 1.2, 2.4),
    gel_time_min=95,
    first_number=1047,
    shadow=0.25,
    hands=(
        (7, Reach((560, 300), 60)),
        (18, Reach((700, 500), -70)),
        (29, Reach((830, 470), 205, 1.0, False)),
        (30, Reach((850, 455), 200)),
    ),
)

PEN_MARKS = Recipe(
    name="pen_marks",
    title="Long strip for the air-conditioner cowl, front marked by pen",
    seed=74,
    flow=Flow(1000, 300, 1.3e-10, 95_000, 0.50, 0.12, log_sd=0.30, patch_mm=40, cell_mm=10.0),
    look=None,
    start="2024-06-18T10:05:00.000+02:00",
    answer="The 1200 mm run of the part fills in about 58 min, well within 140 min of gel time.",
    part=(1200, 2.6, 3.6),
    gel_time_min=140,
)

RECIPES = {r.name: r for r in (GLASS_EDGE, GLASS_VIDEO, CARBON_CORNERS, PEN_MARKS)}
