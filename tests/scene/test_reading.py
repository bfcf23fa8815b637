"""Scene files read and written."""

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import SceneError
from glowsim.scene import parse_scene, read_scene, scene_schema, write_scene
from tests.support.faults import fault_of
from tests.support.scenes import ORB, SPIKE_WITH_LIGHT, scenes

MANY = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])

WHOLE = """\
title = "Everything at once"

[room]
illuminance_lx = 30
observer = "camera"

[view]
exposure_cd_m2 = 500

[findings]
hot_spot_ratio = 1.6

[materials.my_foam]
like = "upholstery_foam_white"
mu_a_per_mm = [0.001, 0.002, 0.01]

[[bodies]]
name = "staff head"
material = "my_foam"
wall_mm = "0.25 in"
shape = { kind = "orb", diameter_mm = "10 cm", height_mm = 90 }
position_mm = ["1 ft", 0, -3]
glow_where = { above_mm = -20, facing = [0, 0, 1], facing_within_deg = 120 }

  [[bodies.inserts]]
  kind = "core"
  shape = { kind = "rod", length_mm = 60, diameter_mm = 12 }
  position_mm = [0, 0, -50]
  coat = "wood_dowel"

  [[bodies.inserts]]
  name = "plug"
  kind = "sleeve"
  mesh = { file = "plug.stl", units = "in", scale = 0.5, keep = "largest" }
  material = "silicone_translucent"

  [[bodies.masks]]
  coat = "black_paint"
  where = { centre_mm = [0, 0, -50], radius_mm = 20 }

  [[bodies.lights]]
  board = "strip_60"
  position_mm = [0, 0, 20]
  direction = [1, 0, 0]
  along = [0, 0, 1]
  led_count = 3
  separate_leds = true
  drive = { red = 0.5, green = 0.25 }
  channel_current_ma = 12
  zone = "head"

  [[bodies.patterns]]
  kind = "along"
  count = 3
  step_mm = [0, 0, 120]

  [[bodies.patterns]]
  kind = "places"
  places = [ { position_mm = [0, 0, 0] }, { position_mm = [5, 0, 0], rotation_deg = [0, 90, 0] } ]
"""


def test_units_are_converted_on_reading():
    body = parse_scene(WHOLE).scene.bodies[0]
    assert_allclose(body.wall_mm, 6.35, rtol=1e-12)  # a product of two numbers
    assert_allclose(body.shape.diameter_mm, 100.0, rtol=1e-12)
    assert_allclose(body.position_mm, [304.8, 0.0, -3.0], rtol=1e-12)


def test_what_is_left_out_has_its_default():
    scene = parse_scene(ORB).scene
    assert scene.room.illuminance_lx == 50
    assert scene.findings.glow_ratio == 1.7
    assert scene.bodies[0].wall_mm is None
    assert scene.bodies[0].lights == ()


def test_nothing_changes_after_reading():
    scene = parse_scene(ORB).scene
    with pytest.raises(Exception, match="frozen"):
        scene.bodies[0].name = "other"


def test_a_scene_knows_its_file(tmp_path):
    file = tmp_path / "staff.toml"
    file.write_text(ORB, encoding="utf-8")
    scene_file = read_scene(file)
    assert scene_file.stem == "staff"
    assert scene_file.folder == tmp_path.resolve()
    fault = scene_file.fault(("bodies", 0, "material"), "is sold out")
    assert str(fault) == f"{file}, line 3: bodies[0].material: is sold out"


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(SceneError, match=r"nothing\.toml: there is no such file"):
        read_scene(tmp_path / "nothing.toml")


@pytest.mark.parametrize("text", [ORB, SPIKE_WITH_LIGHT, WHOLE], ids=["orb", "spike", "whole"])
def test_written_and_read_again(text, tmp_path):
    scene = parse_scene(text).scene
    write_scene(scene, tmp_path / "copy.toml")
    assert read_scene(tmp_path / "copy.toml").scene == scene
    assert [file.name for file in tmp_path.iterdir()] == ["copy.toml"]


@given(scene=scenes())
@MANY
def test_any_scene_survives_writing(scene, tmp_path_factory):
    file = tmp_path_factory.mktemp("scenes") / "any.toml"
    write_scene(scene, file)
    assert read_scene(file).scene == scene


def test_a_file_is_never_overwritten(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("precious", encoding="utf-8")
    with pytest.raises(SceneError, match=r"mine\.toml: exists already and is left alone"):
        write_scene(parse_scene(ORB).scene, file)
    assert file.read_text(encoding="utf-8") == "precious"
    assert [other.name for other in tmp_path.iterdir()] == ["mine.toml"]


def test_where_nothing_can_be_written(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SceneError, match="cannot be written: "):
        write_scene(parse_scene(ORB).scene, tmp_path / "file" / "scene.toml")


@given(st.binary(max_size=200))
@MANY
def test_bytes_of_any_kind_are_read_or_refused(tmp_path_factory, data):
    file = tmp_path_factory.mktemp("soup") / "soup.toml"
    file.write_bytes(data)
    with pytest.raises(SceneError):
        read_scene(file)


TABLE = st.recursive(
    st.none().map(lambda _: 0)
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.dates(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["name", "shape", "kind", "mesh", "lights", "position_mm", "x"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(TABLE, st.sampled_from(["bodies", "room", "view", "findings", "materials", "title"]))
@MANY
def test_values_of_any_kind_are_taken_or_refused(tmp_path_factory, value, key):
    text = tomlkit.dumps({key: value} | ({} if key == "bodies" else {"bodies": []}))
    with pytest.raises(SceneError, match=r"^any\.toml"):
        parse_scene(text, "any.toml")


@given(st.data())
@MANY
def test_a_damaged_scene_is_taken_or_refused(data):
    cut = data.draw(st.integers(0, len(WHOLE)))
    gone = data.draw(st.integers(0, 12))
    extra = data.draw(st.text(st.sampled_from("[]{}='\"\n.#-eE0 a"), max_size=3))
    text = WHOLE[:cut] + extra + WHOLE[cut + gone :]
    fault = fault_of(parse_scene, text, "damaged.toml")
    assert fault is None or fault.startswith("damaged.toml")


def _keys_of(schema, name):
    return schema["$defs"][name]["properties"]


def test_the_schema_tells_an_editor_what_may_stand_where():
    schema = scene_schema()
    assert set(schema["properties"]) >= {"title", "room", "bodies", "materials"}
    assert schema["additionalProperties"] is False
    assert "bodies" in schema["required"]
    body = _keys_of(schema, "Body")
    assert {"name", "material", "shape", "mesh", "lights", "wall_mm"} <= set(body)
    assert {"const": "spike"}.items() <= _keys_of(schema, "Spike")["kind"].items()
    # A length may be a number or a text with its unit.
    kinds = {choice.get("type") for choice in _keys_of(schema, "Spike")["length_mm"]["anyOf"]}
    assert kinds == {"number", "string"}


@pytest.mark.parametrize("text", [ORB, SPIKE_WITH_LIGHT, WHOLE], ids=["orb", "spike", "whole"])
def test_the_schema_takes_what_the_reader_takes(text):
    import tomllib

    import jsonschema

    jsonschema.validate(tomllib.loads(text), scene_schema())
