"""Ways to hurt a file: each choice is three whole numbers, so that it can be told and shrunk."""

import io
import json
import math
import random
import re

import numpy as np

MOST_HURTS = 4
MANY = 10_000

ODD_VALUES = (
    "0", "-1", "1", "2.5", "1e300", "-1e300", "1e-300", "nan", "inf", "-inf", "1"+"0" * 400,
    "9223372036854775807", "''", '""', "[]", "{}", "true", '"40 in"', '"1e400 mm"', '"nan mm"',
    '"1,234"', '"0,5"', '"\\u0000"', '"\\u202e"', "[[0, 0]]", "[1]", "[[]]", "[true, 1]",
    "[[0, 0], [1e300, 0], [1e300, 1e300], [0, 1e300]]", "[[0, 0], [0, 0], [0, 0], [0, 0]]",
    "[[0, 0], [1, 1], [0, 1], [1, 0]]", "[[nan, 0], [1, inf], [0, 1], [1, 0]]",
    "[[50, 50], [540, 50], [540, 306]]", '"'+"x" * 3000+'"', "1979-05-27T07:32:00Z",
    "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "23:59:59.999999", "1979-05-27",
    '"../panel.toml"', '"."', '"/"', '"frames"', '"marks.csv"', '"panel.toml"', '"results"',
    '"12-15"', '"5-999999999999"', '["1-3", "x"]', '"edge"', '"point"', '"sheet"', '"tape"',
    '"checkerboard"', '"corners"', '"2031-05-20 14:05:30"', '"14:05"', '"99 %"', '"-3 C"',
    '"5 days"', "1e15", "1e6", "-0.0", "4e-324", "300", "0.5", "1000", "[" * 50+"]" * 50,
)  # fmt: skip
ODD_CELLS = (
    "", "0", "-1", "1e300", "-1e300", "1e-300", "nan", "inf", "1e400", "1"+"0" * 400, "12,5", '"',
    "'", "x", "14:03", "99:99", "23:59:59", "2031-05-20T14:05:30+02:00", "0001-01-01T00:00:00",
    "9999-12-31T23:59:59+00:00", "-0", "1 000", "3 mm", "\0", "\u202e", "\r", "\n\n", "#", ";",
    "\t", "=1+1", "x" * 140_000, "time_s", "clock", "300", "299.999", "1e9",
)  # fmt: skip
ODD_JSON = (
    None, True, False, 0, -1, 1, 2.5, 1e300, -1e300, 1e-300, 10**400, "", "x", "nan", [], {}, [1],
    [[]], [None], {"x":1}, "x" * 3000, [[1, 2]], [1e300, -1e300], "2031-05-20T14:05:30", "\ud800",
    math.nan, math.inf, -math.inf,
)  # fmt: skip
ODD_BYTES = (
    b"\0", b"\xff", b"\xff\xd9", b"\xff\xd8", b"IEND", b"\r\n", b"\xef\xbb\xbf", b"\x80" * 9,
    b"\x7f\xff\xff\xff", b"\xff\xff\xff\xff", b"\0\0\0\0", b"<", b">", b"&a;", b'"',
)  # fmt: skip
FIELDS = """
name length_mm width_mm flow feed_point_mm feed_radius_mm ignore_mm region_mm slope_deg source
interval_s speed_up duration duration_s film_start film_end sample_every_s resin_start camera
follow skip method marker_mm marker_centres_mm check_bar_mm corners_px tape_px tape_mm square_mm
inner_corners photo focal_35mm porosity layers areal_weight_g_m2 fibre_density_kg_m3
thickness_mm viscosity_mpas viscosity_log viscosity_doubling_min gel_time_min gel_log
density_kg_m3 temperature_c pot_life_min hardener_parts pressure_difference_mbar vacuum_gauge
bag_mbar ambient_mbar log flow_length_mm area_m2 feed_line points_mm file rectangle_mm
disc_radius_mm disc_centre_mm l_shape_mm holes_mm units y_runs k_m2 k1_m2 k2_m2 angle_deg
k_low_m2 k_high_m2 panel line_mm point_mm radius_mm opens_at_s opens_when resistance_mm pot_mm
part_mm places_mm cells feeds kind wish confirmed
""".split()  # noqa: SIM905
_NUMBER = re.compile(rb"[-+]?\d+(?:\.\d+)?")


def choices_of(seed: int) -> list[tuple[int, int, int]]:
    """The choices of one numbered hurt; most are few, so that the rest of the file still counts."""
    dice = random.Random(seed)
    count = dice.choice((1, 1, 1, 2, 2, 3, MOST_HURTS))
    return [tuple(dice.randrange(MANY) for _ in range(3)) for _ in range(count)]


def hurt_bytes(data: bytes, choices) -> bytes:
    """Flip, cut, put in, take out, double: any file."""
    for way, place, value in choices:
        at = place * max(len(data), 1) // MANY
        end = min(len(data), at + 1 + value % 200)
        data = (
            data[:at],
            data[:at] + bytes([value % 256]) + data[at + 1 :],
            data[:at] + ODD_BYTES[value % len(ODD_BYTES)] + data[at:],
            data[:at] + data[end:],
            data[:at] + data[at:end] * (2 + value % 3) + data[end:],
            data[:at] + bytes(end - at) + data[end:],
            data[:at] + bytes(b ^ (1 << value % 8) for b in data[at : at + 1]) + data[at + 1 :],
            _number_changed(data, at, value),
        )[way % 8]  # fmt: skip
    return data


def _number_changed(data: bytes, at: int, value: int) -> bytes:
    found = _NUMBER.search(data, at) or _NUMBER.search(data)
    if found is None:
        return data
    odd = ODD_CELLS[value % len(ODD_CELLS)].encode("utf-8", "replace")
    return data[: found.start()] + odd + data[found.end() :]


def hurt_toml(data: bytes, choices) -> bytes:
    """Other values, fields and tables; now and then other bytes."""
    lines = data.decode("utf-8").split("\n")
    for way, place, value in choices:
        at = place % len(lines)
        odd = ODD_VALUES[value % len(ODD_VALUES)]
        way %= 10
        if way <= 3:
            with_value = [k for k, line in enumerate(lines) if "=" in line] or [at]
            at = with_value[place % len(with_value)]
            lines[at] = f"{lines[at].partition('=')[0]}= {odd}"
        elif way <= 6:
            lines.insert(at, f"{FIELDS[(place + value) % len(FIELDS)]} = {odd}")
        elif way == 7:
            lines.pop(at) if len(lines) > 1 else None
        elif way == 8:
            other = value % len(lines)
            lines[at], lines[other] = lines[other], lines[at]
        else:
            text = hurt_bytes("\n".join(lines).encode(), [(value, place, value)])
            return text
    return "\n".join(lines).encode("utf-8", "replace")


def hurt_table(data: bytes, choices) -> bytes:
    """Other cells, rows and column names in a CSV file."""
    rows = [line.split(",") for line in data.decode("utf-8").splitlines()]
    for way, place, value in choices:
        at = place % len(rows)
        row = rows[at]
        column = value % max(len(row), 1)
        odd = ODD_CELLS[(place + value) % len(ODD_CELLS)]
        way %= 7
        if way <= 2 and row:
            row[column] = odd
        elif way == 3:
            rows.insert(at, list(row))
        elif way == 4 and len(rows) > 1:
            rows.pop(at)
        elif way == 5 and rows[0]:
            rows[0][column % len(rows[0])] = odd
        else:
            text = "\n".join(",".join(one) for one in rows).encode("utf-8", "replace")
            return hurt_bytes(text, [(value, place, value)])
    return "\n".join(",".join(one) for one in rows).encode("utf-8", "replace")


def hurt_json(data: bytes, choices) -> bytes:
    """Another value somewhere inside, or a key gone."""
    document = json.loads(data)
    for way, place, value in choices:
        if way % 8 == 7:
            text = json.dumps(document).encode()
            return hurt_bytes(text, [(value, place, value)])
        inside, key = document, None
        dice = random.Random(place)
        while isinstance(inside, dict | list) and len(inside):
            parent = inside
            key = (
                dice.choice(sorted(inside))
                if isinstance(inside, dict)
                else dice.randrange(len(inside))
            )
            inside = inside[key]
            if dice.random() < 0.2:
                break
        if key is None:
            continue
        if way % 8 == 6:
            del parent[key]
        else:
            parent[key] = ODD_JSON[value % len(ODD_JSON)]
    return json.dumps(document).encode("utf-8", "replace")


def hurt_arrays(data: bytes, choices) -> bytes:
    """Another array under a name, one gone, or other bytes."""
    with np.load(io.BytesIO(data)) as stored:
        arrays = dict(stored)
    odd = (
        np.zeros(0), np.zeros((2, 3)), np.array(np.nan), np.array("x"), np.array(["a", "b"]),
        np.array([b"x"]), np.full((4, 4), np.inf), np.array(-1), np.array([1 + 2j]), np.array(True),
        np.array("{}"), np.array('{"mark": 1}'), np.array(["2031-05-20"], dtype="datetime64[D]"),
    )  # fmt: skip
    for way, place, value in choices:
        name = sorted(arrays)[place % len(arrays)] if arrays else "x"
        way %= 6
        if way <= 1:
            arrays[name] = odd[value % len(odd)]
        elif way == 2:
            arrays.pop(name, None)
        elif way == 3 and name in arrays and arrays[name].size and arrays[name].dtype.kind == "f":
            changed = arrays[name].astype(float)
            changed.flat[value % changed.size] = (np.nan, np.inf, -1e300, 1e300)[value % 4]
            arrays[name] = changed
        else:
            out = io.BytesIO()
            np.savez(out, **arrays)
            return hurt_bytes(out.getvalue(), [(value, place, value), (way, value, place)])
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()
