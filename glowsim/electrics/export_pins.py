"""The pin plan for a controller, as constants in plain C."""

from __future__ import annotations

import re
from collections.abc import Sequence

from glowsim.electrics.c_text import in_comment, wrapped
from glowsim.electrics.data_line import DataOutput, pin_words
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.pulse import Course


def pins_header(
    outputs: Sequence[DataOutput], boards: Sequence[LitBoard], course: Course, title: str
) -> str:
    """Return the pin plan as a C header of its own."""
    words = f"/* {in_comment(title)}: which pin of the controller feeds which boards. */"
    return "\n".join([words, *pin_lines(outputs, boards, course), ""])


def pin_lines(
    outputs: Sequence[DataOutput], boards: Sequence[LitBoard], course: Course
) -> list[str]:
    """Return the constants of a pin plan as lines of C, safe to be included twice.

    Output by output the LEDs of one row, in the order of the data, each with the member of the
    course whose level it shows. Rows side by side get the same data and are counted once. A pin
    whose name C takes as it stands (a number, a word) is a constant too.
    """
    member_of = {light: k for k, m in enumerate(course.members) for light in m.lights}
    member_of_led: list[int] = []
    first = [0]
    for output in outputs:
        for number in output.rows[0]:
            board = boards[number]
            each = board.led_count // len(board.lights)
            member_of_led += [member_of[light] for light in board.lights for _ in range(each)]
        first.append(len(member_of_led))
    lines = [
        "#ifndef GLOW_PINS_H",
        "#define GLOW_PINS_H",
        "",
        "#include <stdint.h>",
        "",
        "#ifndef GLOW_STORAGE",
        "#define GLOW_STORAGE",
        "#endif",
        "",
        f"#define GLOW_OUTPUTS {len(outputs)}",
        f"#define GLOW_LEDS {len(member_of_led)}",
    ]
    for k, output in enumerate(outputs, start=1):
        lines += ["", f"/* output {k}, {in_comment(pin_words(output.name))}:"]
        for row in output.rows:
            names = " > ".join(in_comment(boards[n].name) for n in row)
            lines.append(f" *   {names}")
        lines.append(" */")
        if re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*|0|[1-9][0-9]{0,4}", output.name):
            lines.append(f"#define GLOW_OUTPUT_{k}_PIN {output.name}")
        lines.append(f"#define GLOW_OUTPUT_{k}_LEDS {output.led_count}")
    if outputs:
        lines += [
            "",
            "/* output k (from 0) sends the LEDs from glow_output_first[k] to before",
            " * glow_output_first[k + 1]; each shows the level of its member */",
            "static const uint16_t glow_output_first[GLOW_OUTPUTS + 1] GLOW_STORAGE = {",
            *wrapped(first),
            "};",
            "",
            "static const uint16_t glow_led_member[GLOW_LEDS] GLOW_STORAGE = {",
            *wrapped(member_of_led),
            "};",
        ]
    return [*lines, "", "#endif"]
