"""What the sheet says, and the files beside it."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner

from glowsim.buildsheet.drawing import Path as Line
from glowsim.buildsheet.drawing import Words
from glowsim.buildsheet.folder import LIST, fill
from glowsim.buildsheet.making import making_steps
from glowsim.buildsheet.meshes import pocketed, tools
from glowsim.buildsheet.paper import area_mm
from glowsim.buildsheet.places import body_places
from glowsim.buildsheet.sheet import listed, make_sheet
from glowsim.buildsheet.template import _base_shows_all, figures_of, spread
from glowsim.catalogue.cautions import all_cautions
from glowsim.cli.sheet import command
from glowsim.errors import SceneError
from glowsim.geometry.body import full_detail, solid_of
from glowsim.geometry.mesh import to_manifold
from glowsim.geometry.outlines import area_mm2, base_mm, on_paper, silhouette_mm
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.solve import solve
from tests.support.sheets import SPIKE, page_texts

A4 = area_mm("A4")


def places(text=SPIKE, clearance_mm=0.3):
    scene = parse_scene(text, "spike.toml")
    return body_places(plan_of(scene), 0, solid_of(scene, 0), clearance_mm)


def test_files_beside_the_sheet(made):
    sheet, folder = made
    names = ["sheet.pdf", "sheet.html", "spike.stl", "spike.glb", "lights.glb"]
    assert [path.name for path in sheet.files] == names
    assert sorted(path.name for path in folder.iterdir()) == sorted([*names, LIST])


def test_everything_a_maker_needs_is_there(made):
    _, folder = made
    printed = " ".join(" ".join(page_texts(folder / "sheet.pdf")).split())
    shown = (folder / "sheet.html").read_text(encoding="utf-8")
    plain = " ".join(re.sub(r"<[^>]+>", " ", shown).replace("&#x27;", "'").split())
    for text in (printed, plain):
        for words in (
            *("Before you start", "How it will look", "Parts", "Power", "Wiring", "Heat"),
            *("Where the lights go", "Build and test", "After the first night", "Cautions"),
            *(
                "Continuity",
                "Polarity",
                "limit the supply to",
                "One branch at a time",
                "When a board is not right",
            ),
            *("Wire to cut", "440", "100", "outrank them", "20.0 mm deep to the LED face"),
        ):
            assert words in text, words
        for entry in all_cautions().values():
            assert entry.title in text
        assert not re.search(r"\b(is|are|be) safe\b", text)


def test_html_needs_nothing_beside_it(made):
    _, folder = made
    shown = (folder / "sheet.html").read_text(encoding="utf-8")
    assert not re.search(r'(src|href)="(?!data:)', shown)
    widths = re.findall(r'<svg [^>]*width="([\d.]+)mm"[^>]*viewBox="0 0 ([\d.]+) ', shown)
    assert widths
    assert all(width == box for width, box in widths)


def test_pockets_are_taken_from_the_body():
    spike = places()
    body, cut = to_manifold(spike.material, "body"), tools(spike)
    assert len(cut) == 2
    both = to_manifold(cut[0], "pocket") + to_manifold(cut[1], "bore")
    taken = (body ^ both).volume()
    left = pocketed(spike)
    assert left.volume_mm3 == pytest.approx(spike.material.volume_mm3 - taken, rel=1e-6)
    # A hole of 23.6 mm across from the base to 0.3 mm past the LED face, the bore within it.
    assert taken == pytest.approx(math.pi / 4 * 23.6**2 * 20.3, rel=0.01)


@pytest.mark.parametrize("level_mm", [0.5, 5.0, 15.0, 20.0])
def test_the_hole_of_the_page_is_that_of_the_mesh(level_mm):
    spike = places()
    (light,) = spike.lights
    body = to_manifold(pocketed(spike), "body")
    # The board goes in from the base: a round hole all the way, as wide as the page says.
    outside, hole = sorted(body.slice(level_mm).to_polygons(), key=lambda ring: -np.ptp(ring[:, 0]))
    assert np.ptp(hole, axis=0) == pytest.approx([23.6, 23.6], abs=0.05)
    assert light.make == "hole Ø 23.6 mm, 20.0 mm deep to the LED face"
    assert np.ptp(outside[:, 0]) > 30
    # Above the LED face and its clearance the body is whole.
    assert len(body.slice(20.4).to_polygons()) == 1


def test_the_template_draws_the_hole_that_the_mesh_has():
    (light,) = places().lights
    for view, wide, tall in (("front", 23.6, 20.3), ("below", 23.6, 23.6)):
        (outline,) = silhouette_mm(light.pocket, view, "pocket")
        assert np.ptp(outline, axis=0) == pytest.approx([wide, tall], abs=0.05)


def test_a_board_that_shines_down_goes_in_up_to_its_back():
    text = SPIKE.replace(
        "position_mm = [0, 0, 20]", "position_mm = [0, 0, 25]\n  direction = [0, 0, -1]"
    )
    (light,) = places(text).lights
    back_mm = 25.0 + light.board.thickness_mm
    assert light.make == f"hole Ø 23.6 mm, {back_mm:.1f} mm deep to the board's back"
    # The board is there, and the hole ends 0.3 mm past it.
    assert light.board_mesh.bounds[:, 2] == pytest.approx([25.0, back_mm], abs=0.01)
    assert light.cut.bounds[1, 2] == pytest.approx(back_mm + 0.3, abs=0.01)


def test_a_board_set_sideways_can_be_put_in():
    text = SPIKE.replace(
        "position_mm = [0, 0, 20]", "position_mm = [0, 0, 25]\n  direction = [0, -1, 0]"
    )
    spike = places(text)
    (light,) = spike.lights
    assert light.make.endswith("open to the base")
    # What is taken out holds the board at every height on its way in.
    cut = to_manifold(light.cut, "cut")
    board = to_manifold(light.board_mesh, "board")
    for down in (0.0, 5.0, 12.0, 24.0):
        moved = board.translate([0, 0, -down])
        inside = (moved ^ to_manifold(spike.solid.outer, "outer")) - cut
        assert inside.volume() == pytest.approx(0, abs=1e-3)


def test_how_it_is_made_decides_the_words():
    (text,) = making_steps([(places(), 2)])
    assert text.startswith("Carve spike (2 times) by the templates")
    shell = SPIKE.replace("upholstery_foam_white", "pla_white").replace(
        "cell_mm = 4", "wall_mm = 2"
    )
    (text,) = making_steps([(places(shell), 1)])
    assert text.startswith("Print spike from its STL")
    assert "Do not cut or drill" in text
    resin = places(SPIKE.replace("upholstery_foam_white", "milky_resin_light"))
    (text,) = making_steps([(resin, 1)])
    # A cone of pi 20^2 90 / 3 mm3 with a rounded tip: some 38 cm3, and a tenth more to mix.
    volume = resin.material.volume_mm3 / 1000
    assert f"the mould holds {volume:.0f} cm³ each; mix {1.1 * volume:.0f} cm³" in text
    assert "board at 20 mm" in text
    assert "9 pours of 10 mm" in text
    assert tools(resin) == []
    assert resin.lights[0].make == "cast in: hang it there before the pour"
    told = SPIKE.replace("cell_mm = 4", 'made = "printed"')
    assert places(told).making == "printed"


def test_stl_is_closed_and_in_millimetres(made):
    _, folder = made
    mesh = trimesh.load_mesh(folder / "spike.stl")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(pocketed(places()).volume_mm3, rel=1e-4)
    assert mesh.extents[2] == pytest.approx(90, abs=0.1)


def test_markers_stand_where_the_lights_are(made):
    _, folder = made
    marks = trimesh.load_scene(folder / "lights.glb")
    assert len(marks.graph.nodes_geometry) == 4  # board and LEDs of two copies
    # glTF: metres, y up. The copies stand 60 mm apart, LED windows 3.9 mm wide reach past 20 mm.
    low, high = marks.bounds
    assert high[0] - low[0] == pytest.approx(0.083, abs=5e-4)
    assert high[1] == pytest.approx(0.020 + 0.0039 / 2, abs=2e-4)


def test_places_of_a_buried_board():
    light = places().lights[0]
    assert (light.height_mm, light.from_axis_mm, light.faces) == (20, 0, "up")
    assert light.fits
    assert light.make == "hole Ø 23.6 mm, 20.0 mm deep to the LED face"
    start, end = light.channel
    assert start == pytest.approx([0, 0, 20 - 3.2 - 0.3], abs=1e-6)
    assert end == pytest.approx([0, 0, 0], abs=1e-6)


def test_a_board_too_wide_is_told():
    high = places(SPIKE.replace("position_mm = [0, 0, 20]", "position_mm = [0, 0, 60]"))
    assert not high.lights[0].fits


def test_a_board_in_a_hollow_needs_no_pocket():
    shell = places(SPIKE.replace("cell_mm = 4", "wall_mm = 2"))
    light = shell.lights[0]
    assert light.channel is None
    assert "hollow" in light.make
    assert tools(shell) == []


def test_a_strip_gets_a_slot():
    text = SPIKE.replace('"round_7_12ma"', '"strip_60"\n  led_count = 3').replace(
        "position_mm = [0, 0, 20]", "position_mm = [0, 0, 35]\n  direction = [0, -1, 0]"
    )
    light = places(text).lights[0]
    # Three LEDs at 16.667 mm: 50 mm long, from 10 to 60 mm, 0.3 mm more at each end.
    assert (
        light.make == "slot 50.6 x 10.6 mm, 2.5 mm deep, from 9.7 to 60.3 mm up, open to the base"
    )
    assert light.faces == "90° from up, towards 270°"
    assert sorted(light.led_mm[:, 2]) == pytest.approx([18.333, 35, 51.667], abs=1e-3)


def test_outlines_against_the_shape():
    spike = places()
    circle = math.pi * 20**2
    assert area_mm2(spike.base) == pytest.approx(circle, rel=5e-3)
    assert area_mm2(spike.seen) == pytest.approx(circle, rel=5e-3)
    for view in ("top", "below"):
        points = np.concatenate(silhouette_mm(spike.solid.outer, view, "spike"))
        assert np.abs(np.linalg.norm(points, axis=1) - 20).max() < 0.1
    ball = parse_scene(SPIKE.replace('"spike", length_mm = 90, base_d', '"orb", d'))
    assert base_mm(solid_of(ball, 0).outer, "orb") == []


def test_views_are_not_mirrored():
    """Seen from below, y runs down the paper while x still runs right."""
    point = np.array([[1.0, 2.0, 3.0]])
    assert on_paper(point, "top")[0] == pytest.approx([1, 2])
    assert on_paper(point, "below")[0] == pytest.approx([1, -2])
    assert on_paper(point, "front")[0] == pytest.approx([1, 3])
    assert on_paper(point, "side")[0] == pytest.approx([2, 3])


def test_a_round_body_is_drawn_from_one_side_only():
    assert [f.title.split(": ")[1] for f in figures_of(places(), A4)] == [
        *("from above", "for the base, seen from below", "from the front")
    ]
    flat = SPIKE.replace(
        '"spike", length_mm = 90, base_diameter_mm = 40',
        '"blade", length_mm = 90, width_mm = 46, thickness_mm = 30',
    )
    assert len(figures_of(places(flat), A4)) == 4


def test_dimension_lines_are_as_long_as_they_say():
    front = next(f for f in figures_of(places(), A4) if f.title.endswith("front")).drawing
    words = {item.text: item for item in front.items if isinstance(item, Words)}
    lines = [i.points for i in front.items if isinstance(i, Line) and len(i.points) == 2]
    for said, mm, along in (("40.0", 40, 0), ("90.0", 90, 1)):
        label = words[said]
        across = 1 - along
        (line,) = (
            points
            for points in lines
            if np.ptp(points[:, across]) == 0
            and 0 < points[0, across] - label.at[across] < 4
            and np.ptp(points[:, along]) > 9
        )
        assert np.ptp(line[:, along]) == pytest.approx(mm, abs=0.05)
        assert label.at[along] == pytest.approx(line[:, along].mean(), abs=1e-9)
        ticks = [
            points[0, along]
            for points in lines
            if np.ptp(points[:, along]) == 0
            and points[:, across] == pytest.approx(line[0, across] + np.array([-1, 1]))
        ]
        assert sorted(ticks) == pytest.approx(sorted(line[:, along]))


def test_labels_do_not_widen_a_view_past_the_page():
    wide = SPIKE.replace(
        '"spike", length_mm = 90, base_diameter_mm = 40',
        '"slab", length_mm = 150, width_mm = 60, thickness_mm = 40',
    )
    front = next(f for f in figures_of(places(wide), A4) if f.title.endswith("front"))
    assert front.drawing.width_mm <= 190
    assert "1: 20.0 up, 0.0 out" in [getattr(item, "text", "") for item in front.drawing.items]
    assert figures_of(places(wide), (400, 400))[2].drawing.width_mm > 190


@pytest.mark.parametrize(
    ("levels", "apart"),
    [([0, 10, 20], [0, 10, 20]), ([5, 5], [3, 7]), ([0, 1, 2, 50], [-3, 1, 5, 50])],
)
def test_labels_are_spread(levels, apart):
    assert spread(levels, 4) == pytest.approx(apart)


def test_folder_is_filled_again_but_never_over_others(tmp_path):
    fill(tmp_path, {"a.txt": b"one", "b.txt": b"two"})
    fill(tmp_path, {"a.txt": b"new"})
    assert (tmp_path / "a.txt").read_bytes() == b"new"
    assert not (tmp_path / "b.txt").exists()  # its own, and no longer part of the sheet
    (tmp_path / "a.txt").write_bytes(b"mine now")
    with pytest.raises(SceneError, match="left alone"):
        fill(tmp_path, {"a.txt": b"newer", "c.txt": b"three"})
    assert (tmp_path / "a.txt").read_bytes() == b"mine now"
    assert not (tmp_path / "c.txt").exists()
    (tmp_path / "d.txt").write_bytes(b"never listed")
    with pytest.raises(SceneError, match=r"d\.txt"):
        fill(tmp_path, {"d.txt": b"x"})


def test_a_file_in_the_folders_place(tmp_path):
    (tmp_path / "sheet").write_text("a file")
    with pytest.raises(SceneError, match="is a file"):
        fill(tmp_path / "sheet", {"a.txt": b"one"})


@pytest.mark.parametrize(
    ("change", "paper", "words"),
    [
        (lambda text: text, "A5", "there is no paper 'A5'"),
        (lambda text: text[: text.index("  [[bodies.lights]]")], "A4", "no body has a light"),
    ],
)
def test_bad_input_is_told(tmp_path, change, paper, words):
    scene = parse_scene(change(SPIKE), "spike.toml")
    with pytest.raises(SceneError, match=words):
        make_sheet(scene, solve(scene), tmp_path / "out", paper=paper, clearance_mm=0.3)
    assert not (tmp_path / "out").exists()


def test_command_says_what_it_wrote(tmp_path):
    scene = tmp_path / "spike.toml"
    scene.write_text(SPIKE)
    options = [str(scene), "--out", str(tmp_path / "out"), "--json", "--paper", "letter"]
    run = CliRunner().invoke(command, options)
    assert run.exit_code == 0, run.output
    told = json.loads(run.stdout)
    assert told["files"][0].endswith("sheet.pdf")
    assert told["heat"]["boards"][0]["power_w"] > 0
    mine = tmp_path / "out" / "sheet" / "sheet.html"
    mine.write_text("my notes")
    again = CliRunner().invoke(command, options)
    assert isinstance(again.exception, SceneError)
    assert mine.read_text() == "my notes"


def test_the_mesh_for_the_bench_has_the_makers_own_detail(tmp_path):
    ball = trimesh.creation.icosphere(6, radius=40)  # 81 920 faces: more than light is worked with
    ball.export(tmp_path / "ball.stl")
    text = SPIKE.replace(
        'shape = { kind = "spike", length_mm = 90, base_diameter_mm = 40 }',
        'mesh = { file = "ball.stl", units = "mm" }',
    ).replace("[0, 0, 20]", "[0, 0, 0]")
    scene = parse_scene(text, "ball.toml", tmp_path)
    ball_places = body_places(plan_of(scene), 0, solid_of(scene, 0), 0.3)
    fine = full_detail(scene, 0)
    assert len(ball_places.solid.outer.faces) < 25_000 < len(fine.faces)
    cut = pocketed(ball_places, fine)
    # Every corner of the outside lies on the maker's ball, as exactly as its STL says.
    away = np.linalg.norm(cut.vertices, axis=1)
    outside = away[away > 39]
    assert len(outside) > 35_000
    assert np.abs(outside - 40).max() < 0.02
    assert full_detail(parse_scene(SPIKE, "spike.toml"), 0) is None


CLUB = """
title = "Small club"
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 28 }
material = "upholstery_foam_white"
detail_mm = 6
cell_mm = 4
  [[bodies.lights]]
  board = "round_7"
  position_mm = [0, 0, 14]
  [[bodies.patterns]]
  kind = "around"
  count = 3
  tilt_deg = 60
  radius_mm = 30
[[bodies]]
name = "head"
shape = { kind = "orb", diameter_mm = 68 }
material = "opaque_primer"
[power]
battery = "alkaline_aaa"
in_series = 3
wanted_hours = 4
[wiring]
kind = "star"
run_mm = 100
"""


@pytest.mark.slow
def test_a_prop_on_a_head_that_its_battery_does_not_carry(tmp_path):
    """Pieces on a ball, cells that end at once: the sheet has one voice on both."""
    scene = parse_scene(CLUB, "club.toml")
    made = make_sheet(scene, solve(scene), tmp_path, paper="A4", clearance_mm=0.3, backend="embree")
    names = {path.name for path in made.files}
    assert {"spike.stl", "head.stl", "jig_for_spike_1_to_spike_3.stl"} <= names
    for name in names:
        if name.endswith(".stl"):
            assert trimesh.load_mesh(tmp_path / name).is_watertight
    text = " ".join(" ".join(page_texts(tmp_path / "sheet.pdf")).split())
    for words in (
        "foot dished to sit on head: 4.0 mm deep in its middle, radius 34.0 mm",
        "head, 4.0 mm deep in the middle",
        "Mark the wire holes on head with the paper strips, or put on the printed jigs",
        "Do not build with it. These can run the show for 4 h, the lightest first",
        "from a bench supply of 5 V",
        "jig_for_spike_1_to_spike_3.stl: drilling jig for spike 1 to spike 3, to print",
    ):
        assert words in text, words


def test_the_sheet_lists_every_finding_that_glow_lists():
    found = [
        SimpleNamespace(number=n, body="side", kind="dark gap", label=f"{n} mm")
        for n in range(1, 8)
    ]
    lines = listed(SimpleNamespace(found=found, unlisted=2))
    assert [line.partition(".")[0] for line in lines[:7]] == [str(n) for n in range(1, 8)]
    assert lines[6:] == ("7. side: dark gap, 7 mm.", "... and 2 lesser ones")
    assert len(listed(SimpleNamespace(found=found, unlisted=0))) == 7


def test_a_sheet_that_is_cut_short_leaves_the_old_one_whole(tmp_path, monkeypatch):
    folder, names = tmp_path / "sheet", ("a.svg", "b.svg", "c.svg")
    fill(folder, dict.fromkeys(names, b"old"))
    honest = Path.write_bytes

    def stopped(path, content):
        if content == b"new b.svg":
            raise KeyboardInterrupt
        return honest(path, content)

    monkeypatch.setattr(Path, "write_bytes", stopped)
    with pytest.raises(KeyboardInterrupt):
        fill(folder, {name: f"new {name}".encode() for name in names})
    monkeypatch.undo()
    assert [(folder / name).read_bytes() for name in names] == [b"old"] * 3
    fill(folder, dict.fromkeys(names, b"newer"))
    assert [(folder / name).read_bytes() for name in names] == [b"newer"] * 3
    assert {path.name for path in folder.iterdir()} == {*names, "sheet-files.json"}


@pytest.mark.parametrize(("seen_mm", "alike"), [(10.05, True), (9.95, True), (10.15, False)])
def test_a_base_stands_for_the_view_from_above_where_it_is_nearly_all_of_it(seen_mm, alike):
    def square(mm):
        return [np.array([[0, 0], [mm, 0], [mm, mm], [0, mm]], dtype=float)]

    assert _base_shows_all(SimpleNamespace(base=square(10.0), seen=square(seen_mm))) is alike
