"""Drawings: the lines of SVG and DXF files, their units and names."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.errors import GeometryError
from glowsim.geometry.drawing import read_lines
from glowsim.geometry.notes import Doubt
from glowsim.scene import Outline
from tests.support.drawings import arch_dxf, lines_of, svg_file


def area(line):
    x, y = line.T
    return abs(float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())) / 2


@pytest.mark.parametrize(
    ("d", "wanted"),
    [
        # SVG 1.1, section 8.3.8, figure arcs01: three quarters and one quarter of a disc of 150.
        ("M300,200 h-150 a150,150 0 1,0 150,-150 z", 0.75 * np.pi * 150**2),
        ("M275,175 v-150 a150,150 0 0,0 -150,150 z", 0.25 * np.pi * 150**2),
        # Section 8.3.2, figure triangle01.
        ("M 100 100 L 300 100 L 200 300 z", 20_000.0),
        # Section 8.3.7, figure quad01, its first curve closed straight: a parabola's segment is
        # two thirds of the triangle of its control points.
        ("M200,300 Q400,50 600,300 z", 2 / 3 * 400 * 250 / 2),
        # Section 8.3.6, figure cubic01, first curve, closed straight: y = 300 t (1 - t) and
        # dx = 900 t (1 - t) dt (derived).
        ("M100,200 C100,100 250,100 250,200 z", 270_000 / 30),
        # Section 9.2, figure rect02 has rounded corners; here 400 by 200 with rx = 50.
        ("M100,100 h300 a50,50 0 0 1 50,50 v100 a50,50 0 0 1 -50,50 h-300 "
         "a50,50 0 0 1 -50,-50 v-100 a50,50 0 0 1 50,-50 z", 80_000 - (4 - np.pi) * 2500),
    ],
    ids=["arc 3/4", "arc 1/4", "triangle", "quadratic", "cubic", "rounded"],
)  # fmt: skip
def test_paths_of_the_specification(d, wanted, tmp_path):
    (line,) = lines_of(svg_file(tmp_path, f'<path d="{d}"/>'))
    assert_allclose(area(line), wanted, rtol=1e-3)  # chords within 1e-4 of the size


def test_smooth_commands_go_on_as_the_specification_says(tmp_path):
    # SVG 1.1, 8.3.6: the first control point of S is the reflection of the last one before.
    short = '<path d="M100,200 C100,100 250,100 250,200 S400,300 400,200 L100,200"/>'
    full = short.replace("S400,300", "C250,300 400,300")
    lines = [lines_of(svg_file(tmp_path, inside))[0] for inside in (short, full)]
    assert_allclose(lines[0], lines[1], atol=1e-6)


def test_shapes_groups_layers_and_transforms(tmp_path):
    path = svg_file(
        tmp_path,
        '<g id="outer" transform="translate(100,0) rotate(90)">'
        '<rect id="box" width="40" height="20"/></g>'
        '<g xmlns:i="http://www.inkscape.org/namespaces/inkscape" i:label="Layer 2">'
        '<ellipse id="e" cx="50" cy="50" rx="30" ry="10"/></g><text x="1" y="2">words</text>',
    )
    (box,) = lines_of(path, path="box")
    assert_allclose(np.ptp(box, axis=0), [20, 40], atol=1e-4)
    assert_allclose(lines_of(path, path="outer")[0], box)
    (ellipse,) = lines_of(path, path="Layer 2")
    assert_allclose(area(ellipse), np.pi * 300, rtol=1e-3)
    assert len(lines_of(path)) == 2
    with pytest.raises(GeometryError, match=r"no path or layer 'bax'; did you mean 'box'\?"):
        lines_of(path, path="bax")


@pytest.mark.parametrize(
    ("head", "mm"),
    [
        ('width="60mm" height="100mm" viewBox="0 0 600 1000"', 0.1),
        ('width="2in" height="4in" viewBox="0 0 2 4"', 25.4),
        ('width="96pt" height="96pt" viewBox="0 0 96 96"', 25.4 / 72),
        ('width="20cm" height="20cm"', 25.4 / 96),  # no viewBox: px, 96 to the inch (CSS)
    ],
)
def test_svg_units(head, mm, tmp_path):
    path = svg_file(tmp_path, '<rect width="40" height="30"/>', head)
    assert_allclose(np.ptp(lines_of(path)[0], axis=0), [40 * mm, 30 * mm], rtol=1e-6)


def test_a_drawing_without_a_unit_is_a_doubt(tmp_path):
    path = svg_file(tmp_path, '<rect width="60" height="100"/>', 'viewBox="0 0 60 100"')
    _, notes = read_lines(Outline(file=path.name), tmp_path)
    assert isinstance(notes[0], Doubt)
    assert "26.5 mm if px, 100 mm if mm" in notes[0]
    (line,) = lines_of(path, height_mm=250)
    assert_allclose(np.ptp(line, axis=0), [150, 250])
    assert_allclose(np.ptp(lines_of(path, units="cm")[0], axis=0), [600, 1000])


def test_a_stated_length_that_does_not_fit_is_refused(tmp_path):
    arch_dxf(tmp_path)
    with pytest.raises(
        GeometryError, match=r"125 mm high by the unit mm, and height_mm says 100 mm"
    ):
        lines_of(tmp_path / "arch.dxf", height_mm=100)
    with pytest.raises(GeometryError, match=r"125 mm high, and height_mm says 250 mm"):
        lines_of(arch_dxf(tmp_path, 0), height_mm=250, width_mm=50)


def test_loose_pieces_of_a_dxf_are_joined(tmp_path):
    (arch,) = lines_of(arch_dxf(tmp_path), path="cut")
    assert_allclose(arch[0], arch[-1])
    assert_allclose(area(arch), 5000 + np.pi * 625 / 2, rtol=1e-3)
    assert len(lines_of(tmp_path / "arch.dxf")) == 2
    inches = lines_of(arch_dxf(tmp_path, 1), path="holes")[0]
    assert_allclose(area(inches), np.pi * 100 * 25.4**2, rtol=1e-3)


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("a.svg", "<svg><path d=", "cannot be read as SVG"),
        ("a.svg", '<svg xmlns="http://www.w3.org/2000/svg"/>', "holds no lines"),
        ("a.dxf", "no drawing at all", "cannot be read as DXF"),
        ("a.dxf", "", "cannot be read as DXF"),
        ("a.pdf", "", "is not a drawing that can be read"),
    ],
)
def test_broken_drawings_are_told(name, content, told, tmp_path):
    (tmp_path / name).write_text(content, encoding="utf-8")
    with pytest.raises(GeometryError, match=told):
        lines_of(tmp_path / name)


def test_a_missing_drawing_is_told(tmp_path):
    with pytest.raises(GeometryError, match="there is no drawing"):
        lines_of(tmp_path / "none.svg")
