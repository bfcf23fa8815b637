"""A fade that is wanted: what is held against it, and what a wrong one is answered."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.catalogue import load_catalogue
from glowsim.errors import SceneError
from glowsim.findings import findings_of
from glowsim.findings.patches import Eye
from glowsim.findings.wanted import wanted_level
from glowsim.scene import Body, Fade, Orb, Room, Scene, parse_scene, scene_schema, write_scene
from glowsim.scene.read import read_scene
from glowsim.transport.names import body_key
from tests.findings.glows import lit, plate

ORB = '[[bodies]]\nname = "b"\nmaterial = "pla_white"\nshape = { kind = "orb", diameter_mm = 30 }\n'
FLAME = Fade(fade="up", to=0.33)


def level_of(fade):
    surface = plate()
    return surface, wanted_level(fade, surface, np.arange(len(surface.faces)), "plate")


def scene(wanted, lux=0.0):
    body = Body(
        name="plate",
        shape=Orb(kind="orb", diameter_mm=100.0),
        material="pla_white",
        wanted=wanted,
    )
    room = Room(illuminance_lx=lux, viewing_distance_mm=1500.0)
    return Scene(title="Test prop", room=room, bodies=(body,))


def flame(x, z):
    """Bright at z = 0, a third of that at z = 120, by equal factors."""
    return 100.0 * 0.33 ** (z / 120)


@pytest.mark.parametrize(
    ("fade", "bright", "dim"),
    [
        (FLAME, 0.0, 120.0),
        (Fade(fade="down", to=0.33), 120.0, 0.0),
        (Fade(fade="along", axis=(0, 0, -2), to=0.33), 120.0, 0.0),
        (Fade(fade="up", to=0.33, from_mm=30, to_mm=90), 30.0, 90.0),
        (Fade(fade="down", to=0.33, from_mm=90, to_mm=30), 90.0, 30.0),
    ],
)
def test_levels_run_by_equal_factors_and_have_mean_one(fade, bright, dim):
    surface, level = level_of(fade)
    area, z = surface.areas_mm2, surface.centroids[:, 2]
    assert area @ level / area.sum() == pytest.approx(1.0)
    share = np.clip((z - bright) / (dim - bright), 0, 1)
    slope = np.log(level) - share * np.log(0.33)
    np.testing.assert_allclose(slope, slope[0], atol=1e-9)


def test_an_even_look_is_one_everywhere():
    assert (level_of(None)[1] == 1).all()


def test_a_flame_is_even_where_a_flame_is_wanted():
    report = findings_of(lit(flame), scene(FLAME))
    (wanted,) = report.bodies
    assert report.notes[0] == (
        "plate: held against the fade wanted of it, up, to 0.33 of its bright end"
    )
    assert wanted.grade == "even"
    assert wanted.off_by == pytest.approx(1.0, abs=1e-3)
    assert wanted.within_share == pytest.approx(1.0)
    assert wanted.u0 == pytest.approx(1.0, abs=1e-3)
    (even,) = findings_of(lit(flame), scene(None)).bodies
    assert even.grade == "fair"
    # Exponential decay: J = k/2 - 1 + k / (e^k - 1) with k = ln 3.03.
    k = np.log(1 / 0.33)
    exact = np.exp(np.sqrt(k / 2 - 1 + k / np.expm1(k)))
    assert even.off_by == pytest.approx(exact, rel=2e-3)
    # An even glow is as far off a flame, the other way about.
    (other,) = findings_of(lit(lambda x, z: 100 + 0 * x), scene(FLAME)).bodies
    assert other.off_by == pytest.approx(exact, rel=2e-3)
    # Luminances are what they are, whatever is wanted.
    for name in ("mean_cd_m2", "least_cd_m2", "p95_cd_m2"):
        assert getattr(wanted, name) == pytest.approx(getattr(even, name))


def test_spots_and_gaps_are_those_beside_what_is_wanted():
    def steep(x, z):
        return 100.0 * 0.03 ** (z / 120)

    assert {found.kind for found in findings_of(lit(steep), scene(None)).found} == {
        *("hot spot", "dark gap"),
    }
    assert findings_of(lit(steep), scene(Fade(fade="up", to=0.03))).found == ()
    # Room light stays as it is: the eye sees it on top of the fade.
    assert findings_of(lit(steep), scene(Fade(fade="up", to=0.03), lux=50)).found == ()

    def dark(x, z):
        return flame(x, z) * (1 - 0.8 * np.exp(-((x - 30) ** 2 + (z - 90) ** 2) / (2 * 8**2)))

    (gap,) = findings_of(lit(dark), scene(FLAME)).found
    assert gap.kind == "dark gap"
    np.testing.assert_allclose(gap.body_place_mm, [30, 0, 90], atol=3)
    assert gap.ratio < 0.45


def test_noise_is_held_against_what_is_wanted_too():
    noisy = lit(flame, lambda x, z: 0.2 * flame(x, z), solver="reference")
    from glowsim.findings.luminance import looks_of

    room = Room(illuminance_lx=0.0, viewing_distance_mm=1500.0)
    (look,) = looks_of(noisy, room)
    eye = Eye(look, room, scene(FLAME).findings, FLAME)
    found = findings_of(noisy, scene(FLAME)).bodies[0]
    assert found.noise["off_by"] > 0
    assert "u0" in found.shifted
    np.testing.assert_allclose(eye.seen_cd_m2, eye.seen_cd_m2[0], rtol=1e-5)


def test_what_is_wanted_does_not_change_how_a_body_answers_light():
    keys = []
    for line in ("", 'wanted = "even"\n', 'wanted = { fade = "up", to = 0.5 }\n'):
        scene_file = parse_scene(ORB + line)
        keys.append(body_key(scene_file, 0, load_catalogue(scene_file.toml)))
    assert len(set(keys)) == 1


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('"flame"', "bodies[0].wanted: 'flame' is not a look; write \"even\", or a fade such as"),
        ('{ fade = "up" }', "bodies[0].wanted.to"),
        ('{ fade = "upp", to = 0.3 }', "'upp' is not one of the choices; did you mean 'up'?"),
        ('{ fade = "up", to = 1.2 }', "bodies[0].wanted.to: 1.2 is out of range"),
        ('{ fade = "up", to = 0.3, frm_mm = 2 }', "did you mean 'from_mm'?"),
        ('{ fade = "along", to = 0.3 }', "axis belongs to fade = 'along', and that needs one"),
        ('{ fade = "up", to = 0.3, axis = [1, 0, 0] }', "axis belongs to fade = 'along'"),
        ('{ fade = "up", to = 0.3, from_mm = 9, to_mm = 2 }', "from_mm 9 must be less than"),
        ('{ fade = "down", to = 0.3, from_mm = 2, to_mm = 9 }', "a fade down begins high"),
    ],
)
def test_a_wrong_look_is_answered_with_its_place(line, said):
    with pytest.raises(SceneError) as fault:
        parse_scene(f"{ORB}wanted = {line}\n", "prop.toml")
    assert "line 5" in str(fault.value)
    assert said in str(fault.value)
    assert "\n" not in str(fault.value)


def test_a_fade_beside_the_body_is_named():
    with pytest.raises(SceneError) as fault:
        findings_of(lit(flame), scene(Fade(fade="up", to=0.3, from_mm=200)))
    assert "plate: the wanted fade from 200 to 120 mm misses what is meant to glow" in str(
        fault.value
    )
    with pytest.raises(SceneError, match="reaches from 0 to 120 mm"):
        findings_of(lit(flame), scene(Fade(fade="down", to=0.3, from_mm=-5, to_mm=-20)))


def test_a_look_is_written_and_read_back(tmp_path):
    text = ORB + 'wanted = { fade = "down", to = 0.4, from_mm = "1 cm", to_mm = -10 }\n'
    before = parse_scene(text).scene
    write_scene(before, tmp_path / "again.toml")
    assert read_scene(tmp_path / "again.toml").scene == before
    assert before.bodies[0].wanted.from_mm == 10
    plain = parse_scene(ORB + 'wanted = "even"\n').scene
    assert plain == parse_scene(ORB).scene


def test_editors_learn_of_it():
    schema = scene_schema()["$defs"]
    choices = schema["Body"]["properties"]["wanted"]["anyOf"]
    assert {"const": "even", "type": "string"} in choices
    assert {"$ref": "#/$defs/Fade"} in choices
