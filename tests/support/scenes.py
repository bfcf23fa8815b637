"""Scene texts to start from, and scenes drawn at random."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from glowsim.scene import Scene

ORB = """\
[[bodies]]
name = "orb"
material = "pla_white"
shape = { kind = "orb", diameter_mm = 30 }
"""

SPIKE_WITH_LIGHT = """\
[[bodies]]
name = "spike"
material = "upholstery_foam_white"
shape = { kind = "spike", length_mm = 120, base_diameter_mm = 40, tip_radius_mm = 2 }
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 12]
"""

THIN = """
[[bodies]]
name = "thin"
shape = { kind = "orb", diameter_mm = 12 }
material = "polyester_stuffing"
detail_mm = 6
position_mm = [200, 0, 0]
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
"""
"""So thin a puff that quick calls itself a rough guide."""

THICK = """
[[bodies]]
name = "thick"
shape = { kind = "orb", diameter_mm = 40 }
material = "upholstery_foam_white"
detail_mm = 12
cell_mm = 4
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
"""
"""A ball of foam that quick is sure of."""


def _sizes(least: float = 1.0, most: float = 500.0) -> st.SearchStrategy[float]:
    return st.floats(least, most).map(lambda x: round(x, 3))


def _points(reach: float = 300.0) -> st.SearchStrategy[tuple[float, ...]]:
    return st.tuples(*[st.floats(-reach, reach)] * 3)


@st.composite
def shapes(draw: Any) -> dict[str, Any]:
    """Draw the table of any sketch shape, extremes included."""
    kind = draw(
        st.sampled_from(["spike", "orb", "rod", "slab", "blade", "crystal", "ring", "dome"])
    )
    size = _sizes()
    first, second = draw(size), draw(size)
    share = draw(st.floats(0.02, 0.98))
    table: dict[str, Any] = {
        "spike": {
            "length_mm": first,
            "base_diameter_mm": second,
            "tip_radius_mm": max(0.01, share * min(first, second) / 2),
            "bend_mm": draw(st.sampled_from([0.0, 20.0, -5.0])),
        },
        "orb": {"diameter_mm": first, "height_mm": draw(st.none() | size)},
        "rod": {
            "length_mm": first,
            "diameter_mm": second,
            "top_diameter_mm": draw(st.none() | size),
        },
        "slab": {"length_mm": first, "width_mm": second, "thickness_mm": draw(size)},
        "blade": {
            "length_mm": first,
            "width_mm": second,
            "thickness_mm": max(0.01, share * second),
            "shoulder": draw(st.floats(0, 0.98)),
        },
        "crystal": {
            "length_mm": first,
            "width_mm": second,
            "sides": draw(st.integers(3, 24)),
            "point_mm": max(0.01, share * first / 2),
            "base_point_mm": draw(st.sampled_from([0.0, first / 3])),
        },
        "ring": {"diameter_mm": first, "section_diameter_mm": max(0.01, 0.95 * share * first)},
        "dome": {"diameter_mm": first, "height_mm": second},
    }[kind]
    return {"kind": kind} | {key: value for key, value in table.items() if value is not None}


def _names() -> st.SearchStrategy[str]:
    letters = st.characters(codec="utf-8", exclude_categories=["Cs", "Cc", "Z"])
    return st.text(letters, min_size=1, max_size=20).filter(str.isprintable)


@st.composite
def _bodies(draw: Any) -> dict[str, Any]:
    where = st.fixed_dictionaries({"above_mm": st.floats(-10, 10)})
    lights = st.fixed_dictionaries(
        {"board": _names(), "position_mm": _points()},
        optional={
            "direction": st.sampled_from([(0.0, 1.0, 0.0), (1.0, -2.0, 3.0)]),
            "drive": st.fixed_dictionaries({}, optional={"red": st.floats(0, 1)}),
            "zone": _names(),
            "separate_leds": st.booleans(),
            "led_count": st.integers(1, 10_000),
        },
    )
    patterns = st.one_of(
        st.fixed_dictionaries(
            {"kind": st.just("around"), "count": st.integers(1, 50)},
            optional={"tilt_deg": st.floats(-180, 180), "centre_mm": _points()},
        ),
        st.fixed_dictionaries(
            {"kind": st.just("along"), "count": st.integers(1, 9), "step_mm": _points()}
        ),
        st.fixed_dictionaries(
            {
                "kind": st.just("places"),
                "places": st.lists(
                    st.fixed_dictionaries({"position_mm": _points()}), min_size=1, max_size=3
                ),
            }
        ),
    )
    optional = {
        "wall_mm": st.floats(0.05, 20),
        "position_mm": _points(),
        "rotation_deg": _points(),
        "lights": st.lists(lights, max_size=2),
        "patterns": st.lists(patterns, max_size=2),
        "masks": st.lists(st.fixed_dictionaries({"coat": _names(), "where": where}), max_size=2),
        "inserts": st.lists(
            st.fixed_dictionaries({"kind": st.just("pocket"), "shape": shapes()}), max_size=2
        ),
        "glow_where": where,
    }
    source = draw(
        st.one_of(
            st.fixed_dictionaries({"shape": shapes()}),
            st.fixed_dictionaries(
                {
                    "mesh": st.fixed_dictionaries(
                        {"file": _names()}, optional={"units": st.sampled_from(["mm", "in"])}
                    )
                }
            ),
        )
    )
    rest = draw(st.fixed_dictionaries({"name": _names(), "material": _names()}, optional=optional))
    return source | rest


@st.composite
def scenes(draw: Any) -> Scene:
    """Draw a valid scene; the names in it need not stand for anything."""
    bodies = draw(
        st.lists(_bodies(), min_size=1, max_size=3, unique_by=lambda body: str(body["name"]))
    )
    room = draw(
        st.fixed_dictionaries(
            {},
            optional={
                "illuminance_lx": st.floats(0, 150_000),
                "observer": st.sampled_from(["eye", "camera"]),
            },
        )
    )
    own = draw(
        st.dictionaries(
            _names(),
            st.dictionaries(_names(), st.text(max_size=9) | st.floats(allow_nan=False), max_size=3),
            max_size=2,
        )
    )
    return Scene.model_validate(
        {"title": draw(st.text(max_size=30)), "room": room, "materials": own, "bodies": bodies}
    )
