"""What a person reads who made a mistake in a scene file: place, fault, help."""

import pytest

from glowsim.errors import SceneError
from glowsim.scene import parse_scene

BODY = '[[bodies]]\nname = "b"\nmaterial = "pla_white"\n'
ORB = BODY + 'shape = { kind = "orb", diameter_mm = 30 }\n'
LIGHT = ORB + '[[bodies.lights]]\nboard = "round_7"\nposition_mm = [0, 0, 0]\n'
MASK = ORB + '[[bodies.masks]]\ncoat = "black_paint"\n'
INSERT = ORB + '[[bodies.inserts]]\nshape = { kind = "orb", diameter_mm = 3 }\n'


def faults_of(text):
    with pytest.raises(SceneError) as caught:
        parse_scene(text, "prop.toml")
    return str(caught.value).splitlines()


CASES = {
    "a misspelt key": (
        ORB + "wal_mm = 2\n",
        "line 5: bodies[0].wal_mm: unknown key; did you mean 'wall_mm'?",
    ),
    "a misspelt key in a shape": (
        BODY + 'shape = { kind = "orb", diameter_mm = 3, hieght_mm = 2 }\n',
        "line 4: bodies[0].shape.hieght_mm: unknown key; did you mean 'height_mm'?",
    ),
    "a misspelt key in the room": (
        "[room]\nilluminance_lux = 3\n" + ORB,
        "line 2: room.illuminance_lux: unknown key; did you mean 'illuminance_lx'?",
    ),
    "an unknown shape": (
        BODY + 'shape = { kind = "spkie", length_mm = 3 }\n',
        "line 4: bodies[0].shape.kind: 'spkie' is not one of the choices; did you mean 'spike'?",
    ),
    "a shape without a kind": (
        BODY + "shape = { diameter_mm = 3 }\n",
        "line 4: bodies[0].shape: the key 'kind' is needed to say which kind this is: "
        '"spike", "orb", "rod", "slab", "blade", "crystal", "ring", "dome", "turned", "cut", '
        '"drawn", "loft"',
    ),
    "a shape that is a text": (
        BODY + 'shape = "orb"\n',
        "line 4: bodies[0].shape: 'orb' is not a table of keys and values",
    ),
    "a negative thickness": (
        BODY + 'shape = { kind = "slab", length_mm = 3, width_mm = 3, thickness_mm = -1 }\n',
        "line 4: bodies[0].shape.thickness_mm: -1 is out of range; it must be at least 0.01",
    ),
    "a wall of nothing": (
        ORB + "wall_mm = 0\n",
        "line 5: bodies[0].wall_mm: 0 is out of range; it must be at least 0.05",
    ),
    "a unit nobody knows": (
        ORB + 'wall_mm = "3 furlong"\n',
        "line 5: bodies[0].wall_mm: 'furlong' is not a known unit of length; "
        "known: cm, ft, in, inch, m, mm, um",
    ),
    "a text that is no length": (
        ORB + 'wall_mm = "thin"\n',
        "line 5: bodies[0].wall_mm: 'thin' is not a length; "
        "write a number of mm or a text like '0.5 in'",
    ),
    "true for a length": (
        ORB + "wall_mm = true\n",
        "line 5: bodies[0].wall_mm: true is not a length; "
        "write a number of mm or a text like '0.5 in'",
    ),
    "a text for a number": (
        '[room]\nilluminance_lx = "30"\n' + ORB,
        "line 2: room.illuminance_lx: '30' is not a number",
    ),
    "true for a number": (
        "[room]\nobserver_age_years = true\n" + ORB,
        "line 2: room.observer_age_years: true is not a number",
    ),
    "infinity": (ORB + "wall_mm = inf\n", "line 5: bodies[0].wall_mm: inf is not a finite number"),
    "no number": (
        ORB + "position_mm = [0,\n nan, 0]\n",
        "line 6: bodies[0].position_mm[1]: nan is not a finite number",
    ),
    "an endless number": (
        ORB + f"wall_mm = 1{'0' * 400}\n",
        "line 5: bodies[0].wall_mm: so large a number is not a length",
    ),
    "a date for a length": (
        ORB + "wall_mm = 2020-01-01\n",
        "line 5: bodies[0].wall_mm: 2020-01-01 is not a number",
    ),
    "an absurd place": (
        ORB + "position_mm = [1e9, 0, 0]\n",
        "line 5: bodies[0].position_mm[0]: 1000000000.0 is out of range; it must be at most 1e+06",
    ),
    "a point of two numbers": (
        ORB + "position_mm = [0, 0]\n",
        "line 5: bodies[0].position_mm[2]: this value is missing; the list is too short",
    ),
    "a point of four numbers": (
        ORB + "position_mm = [0, 0, 0, 0]\n",
        "line 5: bodies[0].position_mm: has 4 values; 3 needed",
    ),
    "a direction that points nowhere": (
        LIGHT + "direction = [0, 0, 0]\n",
        "line 8: bodies[0].lights[0].direction: a direction needs a length; "
        "[0.0, 0.0, 0.0] points nowhere",
    ),
    "shape and mesh": (
        ORB + 'mesh = { file = "a.stl" }\n',
        "line 1: bodies[0]: give either shape or mesh, one of the two",
    ),
    "neither shape nor mesh": (
        BODY,
        "line 1: bodies[0]: give either shape or mesh, one of the two",
    ),
    "a mesh in unknown units": (
        BODY + 'mesh = { file = "a.stl", units = "inc" }\n',
        "line 4: bodies[0].mesh.units: 'inc' is not a known unit of length; did you mean 'inch'?",
    ),
    "two bodies of one name": (
        ORB + ORB,
        "line 6: bodies[1].name: two bodies are called 'b'; every body needs its own name",
    ),
    "a name of blanks": (
        ORB.replace('"b"', '"  "'),
        "line 2: bodies[0].name: a name needs letters or digits, and no line breaks",
    ),
    "no bodies": ('title = "x"\n', "prop.toml: bodies: this key is needed but missing"),
    "an empty list of bodies": ("bodies = []\n", "line 1: bodies: has 0 values; 1 needed"),
    "bodies that are a number": (
        "bodies = 3\n",
        "line 1: bodies: 3 is not a list in [square brackets] (or [[double brackets]] for tables)",
    ),
    "a body in single brackets": (
        '[bodies]\nname = "b"\n',
        "line 1: bodies: {...} is not a list in [square brackets] "
        "(or [[double brackets]] for tables)",
    ),
    "a sleeve without a material": (
        INSERT + 'kind = "sleeve"\n',
        "line 5: bodies[0].inserts[0]: material belongs to a sleeve, and a sleeve needs one",
    ),
    "a pocket of a material": (
        INSERT + 'kind = "pocket"\nmaterial = "pla_white"\n',
        "line 5: bodies[0].inserts[0]: material belongs to a sleeve, and a sleeve needs one",
    ),
    "a core without a surface": (
        INSERT + 'kind = "core"\n',
        "line 5: bodies[0].inserts[0]: coat belongs to a core, and a core needs one (its surface)",
    ),
    "an unknown kind of insert": (
        INSERT + 'kind = "hole"\n',
        "line 7: bodies[0].inserts[0].kind: 'hole' is not one of the choices; "
        "known: core, pocket, sleeve",
    ),
    "where that says nothing": (
        MASK + "where = {}\n",
        "line 7: bodies[0].masks[0].where: says nothing: "
        "give part, colour, above_mm, below_mm, centre_mm, facing, line_mm or picture",
    ),
    "half a ball": (
        MASK + "where = { radius_mm = 3 }\n",
        "line 7: bodies[0].masks[0].where: centre_mm and radius_mm go together: a ball needs both",
    ),
    "a mask without a place": (
        MASK,
        "line 5: bodies[0].masks[0].where: this key is needed but missing",
    ),
    "a light without a place": (
        ORB + '[[bodies.lights]]\nboard = "round_7"\n',
        "line 5: bodies[0].lights[0].position_mm: this key is needed but missing",
    ),
    "drive above full": (
        LIGHT + "drive = { red = 2 }\n",
        "line 8: bodies[0].lights[0].drive.red: 2 is out of range; it must be at most 1",
    ),
    "half a LED": (
        LIGHT + "led_count = 2.5\n",
        "line 8: bodies[0].lights[0].led_count: 2.5 is not a whole number",
    ),
    "an enormous count": (
        ORB + '[[bodies.patterns]]\nkind = "around"\ncount = 1000000000000000000000000000000\n',
        "line 7: bodies[0].patterns[0].count: so large a number is out of range; "
        "it must be at most 10000",
    ),
    "an unknown pattern": (
        ORB + '[[bodies.patterns]]\nkind = "arond"\ncount = 3\n',
        "line 6: bodies[0].patterns[0].kind: 'arond' is not one of the choices; "
        "did you mean 'around'?",
    ),
    "a tip wider than the base": (
        BODY + 'shape = { kind = "spike", length_mm = 99, base_diameter_mm = 4, '
        "tip_radius_mm = 2 }\n",
        "line 4: bodies[0].shape: tip_radius_mm 2 must be less than half of base_diameter_mm (2)",
    ),
    "a tip as long as the spike": (
        BODY + 'shape = { kind = "spike", length_mm = 4, base_diameter_mm = 40, '
        "tip_radius_mm = 2 }\n",
        "line 4: bodies[0].shape: tip_radius_mm 2 must be less than half of length_mm",
    ),
    "points that meet": (
        BODY + 'shape = { kind = "crystal", length_mm = 30, width_mm = 9, base_point_mm = 20 }\n',
        "line 4: bodies[0].shape: point_mm (10) and base_point_mm (20) together must be less than "
        "length_mm (30)",
    ),
    "a ring without a hole": (
        BODY + 'shape = { kind = "ring", diameter_mm = 30, section_diameter_mm = 30 }\n',
        "line 4: bodies[0].shape: section_diameter_mm 30 must be at most 0.95 of diameter_mm (30), "
        "or the hole closes",
    ),
    "a blade thicker than wide": (
        BODY + 'shape = { kind = "blade", length_mm = 30, width_mm = 3, thickness_mm = 4 }\n',
        "line 4: bodies[0].shape: thickness_mm 4 must not be more than width_mm (3); "
        "a blade is flat",
    ),
    "an own material that is a number": (
        "[materials]\nmine = 3\n" + ORB,
        "line 2: materials.mine: 3 is not a table of keys and values",
    ),
}


@pytest.mark.parametrize(("text", "message"), CASES.values(), ids=CASES)
def test_one_mistake_one_message(text, message):
    place = "" if message.startswith("prop.toml") else "prop.toml, "
    assert faults_of(text) == [place + message]


def test_several_mistakes_are_told_at_once():
    text = (
        "[room]\n"
        "illuminance_lx = -1\n"
        'observer = "cat"\n'
        "[[bodies]]\n"
        'name = "b"\n'
        'materail = "pla_white"\n'
        'shape = { kind = "orb", diameter_mm = -3 }\n'
        "lights = [\n"
        '  { board = "round_7", position_mm = [0, 0, 0] },\n'
        '  { board = 7, position_mm = [0, 0, "x"] },\n'
        "]\n"
        "[views]\n"
    )
    assert sorted(faults_of(text)) == sorted(
        [
            "prop.toml, line 2: room.illuminance_lx: -1 is out of range; it must be at least 0",
            "prop.toml, line 3: room.observer: 'cat' is not one of the choices; known: camera, eye",
            "prop.toml, line 7: bodies[0].shape.diameter_mm: -3 is out of range; "
            "it must be at least 0.01",
            "prop.toml, line 4: bodies[0].material: this key is needed but missing",
            "prop.toml, line 10: bodies[0].lights[1].board: 7 is not a text in quotes",
            "prop.toml, line 10: bodies[0].lights[1].position_mm[2]: 'x' is not a length; "
            "write a number of mm or a text like '0.5 in'",
            "prop.toml, line 6: bodies[0].materail: unknown key; did you mean 'material'?",
            "prop.toml, line 12: views: unknown key; did you mean 'view'?",
        ]
    )


def test_broken_syntax_has_its_line():
    with pytest.raises(SceneError, match=r"^prop\.toml, line 2: .*quotes.*\(not valid TOML"):
        parse_scene("[[bodies]]\nname = b\n", "prop.toml")


def test_an_empty_file():
    assert faults_of("") == ["prop.toml: bodies: this key is needed but missing"]
