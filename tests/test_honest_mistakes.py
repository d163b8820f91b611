"""The ways in which an honest user goes wrong, and what the tool says: never a calm "fills".

Each line of the table is one mistake: what the user wrote instead of what was meant, and words
that the answer must hold. All mistakes are made on one pen-marked panel that fills as it stands
(or on one flat part, one gauge log), and go through the commands or the readers a user meets.
"""

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

import wetline
from vision.common.csv_table import clock_text_s
from vision.errors import WetlineError
from vision.front.corrections import FixLimits, read_fixes
from wetline import main

PANEL = """\
[panel]
name = "cowl strip"
length_mm = 1000
width_mm = 300
flow = "edge"
[frames]
source = "marks.csv"
[stack]
porosity = 0.5
[resin]
viscosity_mpas = 120
gel_time_min = 140
density_kg_m3 = 1100
temperature_c = 22
[vacuum]
pressure_difference_mbar = 950
[part]
flow_length_mm = 1200
area_m2 = 2.6
thickness_mm = 3.6
"""
# Case: K 1e-10 m2, 95 kPa, 0.12 Pa s, porosity 0.5: x^2 = 2 K dP t / (phi mu) = 3.167e-4 m2/s t.
MARKS = [(k, round((3.167e-4 * 60 * k) ** 0.5 * 1000)) for k in range(1, 46, 2)]
MINUTES = "time_min,distance_mm\n" + "".join(f"{t},{x}\n" for t, x in MARKS)
CLOCK = "clock,distance_mm\n" + "".join(f"14:{t:02d},{x}\n" for t, x in MARKS)
LOG = '[vacuum]\nlog = "vacuum.csv"'
MU = "viscosity_mpas = 120"
DRIVE = "pressure_difference_mbar = 950"
LAYERS = "layers = 6\nareal_weight_g_m2 = 600\nfibre_density_kg_m3 = 2560\nthickness_mm = 2.65"

# What was meant, what the user wrote, what the answer must say.
IN_PANEL = {
    "viscosity in Pa s": ("viscosity_mpas = 120", "viscosity_mpas = 0.12", 'write "0.12 Pa s"'),
    "viscosity, a digit short": ("viscosity_mpas = 120", "viscosity_mpas = 12", "is usual"),
    "viscosity as a range": (
        "viscosity_mpas = 120",
        'viscosity_mpas = "100-150"',
        "has the unit -150",
    ),
    "viscosity with a thousands comma": (
        "viscosity_mpas = 120",
        'viscosity_mpas = "1,200"',
        "may be 1200 or 1.200",
    ),
    "kinematic viscosity": (
        "viscosity_mpas = 120",
        'viscosity_mpas = "120 cSt"',
        "has the unit cSt",
    ),
    "viscosity left out of its field": (
        "viscosity_mpas = 120",
        "viscosity_mpas =",
        "write the value behind the =",
    ),
    "viscosity as a word": (
        "viscosity_mpas = 120",
        'viscosity_mpas = "thin"',
        "must be a viscosity",
    ),
    "a misspelt field": (
        "gel_time_min",
        "viscosity_doublng_min = 30\ngel_time_min",
        "did you mean viscosity_doubling_min",
    ),
    "a misspelt gel time": ("gel_time_min", "gel_tim_min", "did you mean gel_time_min"),
    "a misspelt table": ("[resin]", "[resn]", "did you mean resin"),
    "a field in the wrong table": (
        "porosity = 0.5",
        "porosity = 0.5\nviscosity_doubling_min = 30",
        "belongs under [resin]",
    ),
    "a field above the tables": ("[panel]", "viscosity_doubling_min = 30\n[panel]", "[resin]"),
    "gel time in hours": ("gel_time_min = 140", "gel_time_min = 2.3", 'write "2.3 h"'),
    "gel time in seconds": ("gel_time_min = 140", "gel_time_min = 8400", 'write "8400 s"'),
    "gel time left out": ("gel_time_min = 140", "", "add [resin] gel_time_min"),
    "gel time not a number": ("gel_time_min = 140", "gel_time_min = nan", "finite number"),
    "gel time without end": ("gel_time_min = 140", "gel_time_min = inf", "finite number"),
    "gel time over before the start": (
        "gel_time_min = 140",
        "gel_time_min = 30\nmixed_before_start_min = 40",
        "is over before the resin starts",
    ),
    "temperature in Fahrenheit": ("temperature_c = 22", "temperature_c = 72", 'write "72 F"'),
    "temperature in kelvin": ("temperature_c = 22", "temperature_c = 295", 'write "295 K"'),
    "doubling time in seconds": (
        "gel_time_min",
        "viscosity_doubling_min = 3600\ngel_time_min",
        'write "3600 s"',
    ),
    "lead time in seconds": (
        "gel_time_min",
        "mixed_before_start_min = 125\ngel_time_min",
        "0 min to 120 min is usual",
    ),
    "working share as a share": (
        "gel_time_min",
        "working_share_percent = 0.9\ngel_time_min",
        "write 90",
    ),
    "uncertainty as a share": ("gel_time_min", "gel_sd_percent = 0.1\ngel_time_min", "write 10"),
    "density in g/cm3": ("density_kg_m3 = 1100", "density_kg_m3 = 1.1", 'write "1.1 g/cm3"'),
    "the bag's absolute pressure": (DRIVE, "pressure_difference_mbar = 80", "bag_mbar = 80"),
    "inches of mercury": (DRIVE, "pressure_difference_mbar = 27", 'vacuum_gauge = "27 inHg"'),
    "drive in bar": (DRIVE, "pressure_difference_mbar = 0.95", 'vacuum_gauge = "0.95 bar"'),
    "drive in percent": (DRIVE, "pressure_difference_mbar = 95", 'vacuum_gauge = "95 %"'),
    "a gauge below zero": (DRIVE, "pressure_difference_mbar = -950", 'vacuum_gauge = "-950 mbar"'),
    "more than the air can give": (DRIVE, "pressure_difference_mbar = 1500", "air pressure"),
    "drive, a digit short": (DRIVE, "pressure_difference_mbar = 95.0", "is usual"),
    "a vacuum gauge as absolute": (DRIVE, "bag_mbar = 930", 'vacuum_gauge = "930 mbar"'),
    "a perfect vacuum": (DRIVE, "bag_mbar = 0", "no shop pump holds"),
    "a bag below zero": (DRIVE, "bag_mbar = -950", 'vacuum_gauge = "-950 mbar"'),
    "a bag in bar": (DRIVE, "bag_mbar = 0.05", "write 0.05 bar"),
    "a gauge without its unit": (DRIVE, "vacuum_gauge = 27", "needs its unit"),
    "a gauge in a unit too strong": (DRIVE, 'vacuum_gauge = "27 psi"', "of which there is 1013"),
    "a gauge in a unit too weak": (DRIVE, 'vacuum_gauge = "27 mbar"', "27 mbar of drive"),
    "air pressure in mmHg": (DRIVE, "ambient_mbar = 760\nbag_mbar = 30", '"760 mmHg"'),
    "air pressure in inHg": (DRIVE, "ambient_mbar = 29.9\nbag_mbar = 30", '"29.9 inHg"'),
    "air pressure in kPa": (DRIVE, "ambient_mbar = 101\nbag_mbar = 30", '"101 kPa"'),
    "two drives that differ": (DRIVE, DRIVE + "\nbag_mbar = 300", "keep the one that is right"),
    "drive left out of its field": (DRIVE, "pressure_difference_mbar =", "behind the ="),
    "porosity in percent": ("porosity = 0.5", "porosity = 50", "50 percent is written 0.5"),
    "porosity, a digit too many": ("porosity = 0.5", "porosity = 0.05", "is usual"),
    "the fibre's share as porosity": (
        "porosity = 0.5",
        f"porosity = 0.53\n{LAYERS}",
        "was the fibre's share meant?",
    ),
    "a decimal comma": ("porosity = 0.5", "porosity = 0,5", "write a decimal point"),
    "fabric weight in kg": (
        "porosity = 0.5",
        LAYERS.replace("= 600", "= 0.6"),
        'write "0.6 kg/m2"',
    ),
    "fabric weight of all layers": (
        "porosity = 0.5",
        LAYERS.replace("= 600", "= 3600"),
        "leaves no room for resin",
    ),
    "fibre density in g/cm3": (
        "porosity = 0.5",
        LAYERS.replace("= 2560", "= 2.56"),
        'write "2.56 g/cm3"',
    ),
    "stack thickness in metres": (
        "porosity = 0.5",
        "porosity = 0.5\nthickness_mm = 0.003",
        'write "0.003 m"',
    ),
    "panel length in metres": ("length_mm = 1000", "length_mm = 1", 'write "1 m"'),
    "panel length in centimetres": ("length_mm = 1000", "length_mm = 100", "shorter than the far"),
    "panel length in inches, no quotes": (
        "length_mm = 1000",
        "length_mm = 40 in",
        "put a value with its unit in quotes",
    ),
    "panel width in metres": ("width_mm = 300", "width_mm = 0.3", 'write "0.3 m"'),
    "part length in metres": ("flow_length_mm = 1200", "flow_length_mm = 1.2", 'write "1.2 m"'),
    "part length in centimetres": ("flow_length_mm = 1200", "flow_length_mm = 120", '"120 cm"'),
    "part length in feet": ("flow_length_mm = 1200", "flow_length_mm = 4", 'or "4 ft"'),
    "part length left out": ("flow_length_mm = 1200", "", "add [part] flow_length_mm"),
    "part left out": (PANEL[PANEL.index("[part]") :], "", "add [part] flow_length_mm"),
    "part area in cm2": ("area_m2 = 2.6", "area_m2 = 26000", 'write "26000 cm2"'),
    "part thickness in metres": ("thickness_mm = 3.6", "thickness_mm = 0.0036", '"0.0036 m"'),
    "fibre share in percent": (
        "thickness_mm = 3.6",
        "thickness_mm = 3.6\nfibre_fraction = 52",
        "must be at most 0.85",
    ),
    "a kind of feed misspelt": ('flow = "edge"', 'flow = "egde"', "did you mean edge"),
    "photos' interval with pen marks": (
        'source = "marks.csv"',
        'source = "marks.csv"\ninterval_s = 30',
        "pen marks carry their own times",
    ),
    "a source misspelt": ('source = "marks.csv"', 'source = "mark.csv"', "not found"),
    "confirming a field that is not there": (
        "viscosity_mpas = 120",
        'viscosity_mpas = 12\nconfirmed = ["viscosity"]',
        "viscosity is no field of [resin]",
    ),
}

IN_MARKS = {
    "minutes as seconds": (MINUTES.replace("time_min", "time_s"), "name the column time_min"),
    "seconds as minutes": (
        "time_min,distance_mm\n" + "".join(f"{60 * t},{x}\n" for t, x in MARKS),
        "name the column time_s",
    ),
    "millimetres as inches": (MINUTES.replace("_mm", "_in"), "shorter than the farthest mark"),
    "centimetres as millimetres": (
        "time_min,distance_mm\n" + "".join(f"{t},{x / 25:.1f}\n" for t, x in MARKS),
        "name the column distance_cm",
    ),
    "a clock that cannot be": (CLOCK.replace("14:07", "99:99:99"), "must be a time of day"),
    "an hour mistyped": (CLOCK.replace("14:07", "13:07"), "must be later than the row before"),
    "a clock without resin start": (CLOCK, "give [frames] resin_start"),
    "a mark before resin start": (MINUTES.replace("\n1,", "\n-1,"), "is not after resin start"),
    "marks counted from the first mark": (
        MINUTES.replace("\n1,", "\n0,"),
        "is not after resin start",
    ),
    "a mark past the panel's end": (MINUTES + "99,1100\n", "shorter than the farthest mark"),
    "a front that runs back": (MINUTES + "99,600\n", "lies behind the mark before it"),
    "marks out of order": (MINUTES + "2,990\n", "put the marks in time order"),
    "decimal commas between commas": (MINUTES.replace("\n7,", "\n7,0,"), "put ; between"),
    "a mark that is not a number": (MINUTES + "60,nan\n", "must be a number"),
    "a mark without end": (MINUTES + "60,inf\n", "must be a number"),
    "a mark left out": (MINUTES + "60,\n", "must be a number"),
    "a thousands comma": (MINUTES.replace(",", ";") + "60;1,000\n", "may be 1000 or 1.000"),
    "a head misspelt": (MINUTES.replace("time_min", "tme_min"), "did you mean time_min"),
    "no head": (MINUTES.split("\n", 1)[1], "must hold time_s, time_min or clock"),
    "a column twice": (MINUTES.replace("distance_mm", "time_min"), "names time_min twice"),
    "three marks": ("\n".join(MINUTES.split("\n")[:4]), "at least 4 are needed"),
    "an empty file": ("", "holds no rows"),
}


def write(folder, panel=PANEL, marks=MINUTES):
    folder.mkdir(exist_ok=True)
    (folder / "panel.toml").write_text(panel, encoding="utf-8")
    (folder / "marks.csv").write_text(marks, encoding="utf-8")
    return folder


def told(folder):
    """What a user is told of a panel: one line of error, or verdict, reason and warnings."""
    try:
        found = wetline.answer(wetline.track(folder), folder)
    except WetlineError as error:
        return "", str(error)
    return found.verdict, " ".join([found.reason, *found.warnings])


def test_the_panel_as_it_was_meant_fills(tmp_path):
    verdict, text = told(write(tmp_path))
    assert verdict == "fills", text
    assert told(write(tmp_path, marks=CLOCK + "\n", panel=PANEL.replace(
        'marks.csv"', 'marks.csv"\nresin_start = "14:00"')))[0] == "fills"  # fmt: skip


@pytest.mark.parametrize("name", IN_PANEL)
def test_a_mistake_in_panel_toml(tmp_path, name):
    meant, written, says = IN_PANEL[name]
    assert PANEL.count(meant) == 1
    verdict, text = told(write(tmp_path, PANEL.replace(meant, written)))
    assert says in text, text
    assert "\n" not in text
    assert verdict in ("", "cannot decide", "unfair test")


@pytest.mark.parametrize("name", IN_MARKS)
def test_a_mistake_in_the_marks(tmp_path, name):
    marks, says = IN_MARKS[name]
    verdict, text = told(write(tmp_path, marks=marks))
    assert says in text, text
    assert verdict in ("", "cannot decide", "unfair test")


# -- photos, films and their scale: small grey pictures are enough to be refused

SHEET = """
[scale]
method = "sheet"
marker_mm = 40
marker_centres_mm = [[30, -70], [370, -70], [370, 270], [30, 270]]
"""
CORNERS = """
[scale]
method = "corners"
corners_px = [[40, 40], [280, 40], [280, 160], [40, 160]]
"""
SMALL = "[panel]\nlength_mm = 400\nwidth_mm = 200\n[frames]\ninterval_s = 30\n"

IN_FRAMES = {
    "photos without a time": (CORNERS, "interval_s = 30", "", "write interval_s"),
    "length and width swapped": (
        CORNERS,
        "length_mm = 400\nwidth_mm = 200",
        "length_mm = 200\nwidth_mm = 400",
        "in the photo the panel is 2 times as long as wide",
    ),
    "length in cm, width in mm": (CORNERS, "= 400", "= 40", "not 0.2"),
    "corners the wrong way round": (
        CORNERS.replace("[280, 40]", "[40, 160]").replace("[40, 160]]", "[280, 40]]"),
        "",
        "",
        "run the wrong way round",
    ),
    "corners crossed": (
        CORNERS.replace("[280, 40], [280, 160]", "[280, 160], [280, 40]"),
        "",
        "",
        "cross: list them in the order",
    ),
    "corners off the picture": (CORNERS.replace("280", "2800"), "", "", "picture"),
    "no scale at all": ("", "", "", "[scale] method = (missing)"),
    "cards without their places": (
        SHEET.replace("marker_centres_mm", "# marker_centres_mm"),
        "",
        "",
        "`wetline sheet panel` writes it",
    ),
    "cards without their size": (SHEET.replace("marker_mm = 40", ""), "", "", "black square"),
    "card places in centimetres": (
        SHEET.replace("30", "3").replace("370", "37").replace("-70", "-7").replace("270", "27"),
        "",
        "",
        "too close for markers of 40 mm",
    ),
    "card size in centimetres": (SHEET.replace("= 40", "= 4"), "", "", 'write "4 cm"'),
    "the check bar in centimetres": (SHEET + "check_bar_mm = 9.8\n", "", "", 'write "9.8 cm"'),
    "a field of another method": (CORNERS + "marker_mm = 40\n", "", "", "does not go with"),
    "a misspelt scale field": (SHEET.replace("marker_mm", "maker_mm"), "", "", "marker_mm"),
    "an interval of nothing": (CORNERS, "interval_s = 30", "interval_s = 0", "must be above 0"),
    "an interval without end": (CORNERS, "interval_s = 30", "interval_s = inf", "finite number"),
    "resin start after the last photo": (
        CORNERS,
        "interval_s = 30",
        "interval_s = 30\nresin_start = 900",
        "is after the last frame",
    ),
    "a clock for photos without one": (
        CORNERS,
        "interval_s = 30",
        'interval_s = 30\nresin_start = "14:05"',
        "the frames carry no clock time",
    ),
    "a photo to skip that is not there": (
        CORNERS,
        "interval_s = 30",
        'interval_s = 30\nskip = ["IMG_9.jpg"]',
        "no such frame",
    ),
    "speed of a film with photos": (CORNERS, "interval_s = 30", "speed_up = 30", "video only"),
}

IN_FILM = {
    "a film without its speed": ("", "a film's own clock is not the shop's"),
    "minutes without their unit": ("duration = 40", 'write "40 min" or duration_s = 40'),
    "two speeds": ('duration = "40 min"\nspeed_up = 30', "says the same as"),
    "an end without a beginning": ('film_end = "14:40"', "film_start and film_end go together"),
    "an end before the beginning": (
        'film_start = "14:40"\nfilm_end = "2031-05-20 14:00"',
        "must be after film_start",
    ),
    "no speed at all": ("speed_up = 0", "must be above 0"),
    "a misspelt speed": ("sped_up = 30", "did you mean speed_up"),
}

FIXES = {
    "before resin start": ("time_s,x_mm,y_mm\n-60,50,50\n", "is before resin start"),
    "after the last frame": ("time_min,x_mm,y_mm\n600,50,50\n", "is after the last frame"),
    "past the panel's end": ("time_s,x_mm,y_mm\n60,500,50\n", "lies off the panel"),
    "across the panel's edge": ("time_s,x_mm,y_mm\n60,50,250\n", "lies off the panel"),
    "a clock that cannot be": ("clock,x_mm,y_mm\n99:99:99,50,50\n", "must be a time of day"),
    "a place without end": ("time_s,x_mm,y_mm\n60,inf,50\n", "must be a number"),
    "a front that runs back": (
        "time_s,x_mm,y_mm\n60,90,50\n90,40,50\n",
        "a front does not run back",
    ),
    "a head misspelt": ("time_s,x_m,y_mm\n60,50,50\n", "did you mean x_mm"),
}


def run(*arguments):
    """What the command line says, and its exit code."""
    result = CliRunner().invoke(main, [str(a) for a in arguments])
    return result.exit_code, " ".join(result.output.split())


def write_photos(folder, panel):
    (folder / "frames").mkdir(parents=True)
    grey = np.full((200, 320, 3), 90, np.uint8)
    for k in range(5):
        # Each a little brighter: copies of one photo would be left out.
        cv2.imwrite(str(folder / "frames" / f"IMG_{k}.png"), grey + np.uint8(k))
    (folder / "panel.toml").write_text(panel, encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", IN_FRAMES)
def test_a_mistake_in_frames_or_scale(tmp_path, name):
    scale, meant, written, says = IN_FRAMES[name]
    assert meant in SMALL
    folder = write_photos(tmp_path / "panel", SMALL.replace(meant, written, 1) + scale)
    code, text = run("run", folder, "--quiet")
    assert (code, says in text) == (1, True), text
    assert not (folder / "results").exists()


@pytest.mark.parametrize("name", IN_FILM)
def test_a_mistake_with_a_film(tmp_path, name):
    line, says = IN_FILM[name]
    (tmp_path / "run.mp4").write_bytes(b"never opened")
    panel = SMALL.replace("interval_s = 30", line) + CORNERS
    (tmp_path / "panel.toml").write_text(panel, encoding="utf-8")
    code, text = run("run", tmp_path)
    assert (code, says in text) == (1, True), text


@pytest.mark.parametrize("name", FIXES)
def test_a_mistake_in_a_correction(tmp_path, name):
    text, says = FIXES[name]
    (tmp_path / "fix.csv").write_text(text, encoding="utf-8")
    limits = FixLimits(length_mm=400.0, width_mm=200.0, last_s=1200.0)
    with pytest.raises(WetlineError) as caught:
        read_fixes(tmp_path / "fix.csv", clock_text_s, limits)
    assert says in str(caught.value)


# -- a gauge log, a bucket, a flat part

IN_LOG = {
    "air as vacuum": ("time_min,bag_mbar\n" + "".join(f"{m},1013\n" for m in range(21)), ()),
    "a gauge as absolute": ("time_min,bag_mbar\n" + "".join(f"{m},930\n" for m in range(21)), ()),
    "inches of mercury as mbar": (
        "time_min,bag_mbar\n" + "".join(f"{m},{29 - m / 40:.2f}\n" for m in range(21)),
        (),
    ),
    "a limit that is no number": (None, ("--limit-mbar", "nan")),
    "a limit without end": (None, ("--limit-min", "inf")),
    "a head misspelt": ("time_min,bag_mba\n0,5\n1,5\n2,5\n3,5\n", ()),
    "a reading that is no number": ("time_min,bag_mbar\n0,5\n1,nan\n2,5\n3,5\n", ()),
    "more vacuum than there is air": ("time_min,vacuum_inhg\n0,35\n1,35\n2,35\n3,35\n", ()),
    "air pressure in inHg": (None, ("--ambient-mbar", "29.9")),
    "a unit nobody knows": (None, ("--unit", "feet")),
}


@pytest.mark.parametrize("name", IN_LOG)
def test_a_mistake_in_a_gauge_log_is_never_a_go(tmp_path, name):
    text, options = IN_LOG[name]
    tight = "time_min,bag_mbar\n" + "".join(f"{m},{5 + 0.02 * m:.2f}\n" for m in range(21))
    (tmp_path / "log.csv").write_text(tight, encoding="utf-8")
    assert run("drawdown", tmp_path / "log.csv")[1].startswith("GO")
    (tmp_path / "log.csv").write_text(text or tight, encoding="utf-8")
    code, said = run("drawdown", tmp_path / "log.csv", *options)
    assert code != 0 or not said.startswith("GO"), said


IN_BUCKET = {
    "more after than before": (("--before-kg", "1", "--after-kg", "2"), "before"),
    "grams": (("--before-kg", "1200", "--after-kg", "700"), "1200 g"),
    "area in cm2": (("--area-m2", "26000"), "26000 cm2"),
    "bore in metres": (("--bore-mm", "0.008"), "0.008 m"),
    "waste without end": (("--waste-percent", "inf"), "finite number"),
}


@pytest.mark.parametrize("name", IN_BUCKET)
def test_a_mistake_at_the_bucket(tmp_path, name):
    options, says = IN_BUCKET[name]
    panel = PANEL.replace("[vacuum]", "hardener_parts = 30\n[vacuum]")
    write(tmp_path, panel)
    assert run("resin", tmp_path)[0] == 0
    code, text = run("resin", tmp_path, *options)
    assert code != 0
    assert says in text


PART = """\
[outline]
rectangle_mm = [1200, 400]
[stack]
k_m2 = 1e-10
porosity = 0.5
thickness_mm = 3
[[feed]]
line_mm = [[0, 0], [0, 400]]
[[vent]]
line_mm = [[1200, 0], [1200, 400]]
[resin]
viscosity_mpas = 200
gel_time_min = 240
[vacuum]
pressure_difference_mbar = 950
"""
IN_PART = {
    "viscosity in Pa s": ("viscosity_mpas = 200", "viscosity_mpas = 0.2", 'write "0.2 Pa s"'),
    "inches of mercury": ("_mbar = 950", "_mbar = 27", 'vacuum_gauge = "27 inHg"'),
    "a gauge as absolute": (DRIVE, "bag_mbar = 930", 'vacuum_gauge = "930 mbar"'),
    "gel time in seconds": ("gel_time_min = 240", "gel_time_min = 14400", 'write "14400 s"'),
    "porosity in percent": ("porosity = 0.5", "porosity = 50", "porosity"),
    "a misspelt resin field": ("gel_time_min", "gel_tim_min", "did you mean gel_time_min"),
    "a misspelt vacuum field": ("pressure_difference", "presure_difference", "did you mean"),
    "a field in the wrong table": ("porosity = 0.5", "porosity = 0.5\ngel_time_min = 9", "resin"),
    "thickness in metres": ("thickness_mm = 3", "thickness_mm = 0.003", "0.003 m"),
    "a size in metres": ("= [1200, 400]", "= [1.2, 0.4]", "rectangle_mm"),
    "permeability, two powers short": ("k_m2 = 1e-10", "k_m2 = 1e-7", "is usual"),
    "porosity, a digit short": ("porosity = 0.5", "porosity = 0.05", "is usual"),
    "a size in centimetres": ("= [1200, 400]", "= [120, 40]", "if it is in other units"),
    "a gap in metres": (
        "[resin]",
        "[[gap]]\nline_mm = [[100, 400], [1100, 400]]\nwidth_mm = 0.001\n[resin]",
        "0.05 mm to 20 mm is usual",
    ),
    "a zone beside the part": (
        "[resin]",
        "[[zone]]\npoints_mm = [[2e3, 0], [3e3, 0], [3e3, 300]]\nk_m2 = 1e-11\n[resin]",
        "lies beside the part, which reaches from (0, 0) to (1200, 400) mm",
    ),
    "a direction in radians": (
        "k_m2 = 1e-10",
        "k1_m2 = 1e-10\nk2_m2 = 5e-11\nangle_deg = 0.52",
        "30 if radians are meant",
    ),
    "a feed off the part": ("[[0, 0], [0, 400]]", "[[0, 0], [0, 4000]]", "leaves the part"),
    "a misspelt stack field": ("thickness_mm", "thicknes_mm", "did you mean thickness_mm"),
    "a misspelt feed field": ("[[feed]]", "[[feed]]\nresistence_mm = 30", "resistance_mm"),
    "a misspelt table": ("[resin]", "[resn]", "resin"),
    "permeability without its power": ("k_m2 = 1e-10", "k_m2 = 1.2", "k_m2"),
    "no vent": (PART[PART.index("[[vent]]") : PART.index("[resin]")], "", "add a vent"),
    "no gel time": ("gel_time_min = 240", "", "gel_time_min"),
}


@pytest.mark.parametrize("name", IN_PART)
def test_a_mistake_in_a_part(tmp_path, name):
    meant, written, says = IN_PART[name]
    assert PART.count(meant) == 1
    (tmp_path / "part.toml").write_text(PART.replace(meant, written), encoding="utf-8")
    options = ("--cells", "20", "--no-search", "--no-animation", "--quiet")
    _, text = run("part", tmp_path / "part.toml", *options)
    assert says in text, text
    assert "FILLS" not in text


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--vacuum", "0.8"), '"0.8 bar"'),
        (("--vacuum", "27"), '"27 inHg"'),
        (("--vacuum", "nan"), "finite number"),
        (("--viscosity", "0.3"), '"0.3 Pa s"'),
    ],
)
def test_a_mistake_in_a_what_if(tmp_path, options, says):
    (tmp_path / "part.toml").write_text(PART, encoding="utf-8")
    code, text = run("part", tmp_path / "part.toml", *options)
    assert code == 2
    assert says in text


def test_a_questioned_panel_lends_its_permeability_to_nobody(tmp_path):
    write(tmp_path / "panel")
    assert run("run", tmp_path / "panel", "--quiet")[0] == 0
    write(tmp_path / "panel", PANEL.replace("_mbar = 950", "_mbar = 80"))
    part = PART.replace("k_m2 = 1e-10\nporosity = 0.5\nthickness_mm = 3", 'panel = "panel"')
    (tmp_path / "part.toml").write_text(part, encoding="utf-8")
    options = ("part", tmp_path / "part.toml", "--cells", "20", "--no-search", "--quiet")
    code, text = run(*options)
    assert code == 1
    assert "bag_mbar = 80" in text
    write(tmp_path / "panel", PANEL.replace("_mbar = 950", "_mbar = 900"))
    assert "has changed since its answer" in run(*options)[1]


def test_there_are_at_least_sixty_ways():
    tables = (IN_PANEL, IN_MARKS, IN_FRAMES, IN_FILM, FIXES, IN_LOG, IN_BUCKET, IN_PART)
    assert sum(len(table) for table in tables) >= 60
