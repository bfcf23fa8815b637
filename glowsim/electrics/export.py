"""The course of a pulse for a controller: keyframes as CSV, and a table in plain C."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

import numpy as np

from glowsim.electrics.c_text import in_comment, wrapped
from glowsim.electrics.pulse import DUTY_OF_CODE, Course, codes_of
from glowsim.geometry.mesh import FloatArray


def keyframes_csv(course: Course, time_s: FloatArray, levels: FloatArray) -> str:
    """Return keyframes as CSV: time, then the level of each member as a share of light, 0 to 1.

    time_s : (t,) float;  levels : (t, members) float
    """
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    table.writerow(["time_s", *(member.name for member in course.members)])
    for at, row in zip(time_s, levels, strict=True):
        table.writerow([f"{at:.4f}", *(f"{level:.5f}" for level in row)])
    return stream.getvalue()


def c_header(
    course: Course,
    levels: FloatArray,
    colours: FloatArray,
    *,
    title: str,
    frames_per_second: float,
    pins: Sequence[str] = (),
) -> str:
    """Return the course as a C header: 8-bit codes, the table from codes to light, and colours.

    levels  : (t, members) float, shares of light;  colours : (members, 3) float, drive of red,
              green and blue at full level;  pins : lines with the pin plan (`pin_lines`)
    The codes are CIE lightness: equal steps look equal, and a fade has as many steps in the dark
    as in the bright. `glow_duty` turns a code into the share of on-time.
    """
    frames, members = levels.shape
    names = [in_comment(member.name) for member in course.members]
    duty = np.round(255 * np.clip(colours, 0, 1)).astype(int)
    rows = [
        "/* " + in_comment(title) + ": levels of its light over time.",
        " *",
        f" * {frames} frames of {members} levels, {frames_per_second:g} frames a second.",
        " * For frame f and member m the light of channel c (0 red, 1 green, 2 blue) is",
        " *",
        " *     glow_colours[m][c] * glow_duty[glow_levels[f][m]] / 255",
        " *",
        " * to be sent as it is: 8-bit shares of on-time, no further gamma.",
        f" * Memory: {frames * members + 256 + 3 * members} bytes. On a controller that keeps",
        " * constants apart from its memory, define GLOW_STORAGE before including this file, and",
        " * read the tables in that controller's way.",
        " */",
        "#ifndef GLOW_PULSE_H",
        "#define GLOW_PULSE_H",
        "",
        "#include <stdint.h>",
        "",
        "#ifndef GLOW_STORAGE",
        "#define GLOW_STORAGE",
        "#endif",
        "",
        f"#define GLOW_FRAMES {frames}",
        f"#define GLOW_MEMBERS {members}",
        f"#define GLOW_FRAME_MS {1000 / frames_per_second:.0f}",
        "",
        *(f"/* member {k}: {name} */" for k, name in enumerate(names)),
        "static const uint8_t glow_colours[GLOW_MEMBERS][3] GLOW_STORAGE = {",
        *_rows_of(duty),
        "};",
        "",
        "static const uint8_t glow_duty[256] GLOW_STORAGE = {",
        *wrapped(DUTY_OF_CODE.tolist()),
        "};",
        "",
        "static const uint8_t glow_levels[GLOW_FRAMES][GLOW_MEMBERS] GLOW_STORAGE = {",
        *_rows_of(codes_of(levels)),
        "};",
        "",
        *((*pins, "") if pins else ()),
        "#endif",
        "",
    ]
    return "\n".join(rows)


def _rows_of(values: Sequence[Sequence[int]] | np.ndarray) -> list[str]:
    return ["    {" + ", ".join(str(int(v)) for v in row) + "}," for row in values]
