"""How much of each grid cell a solid or a surface fills, moment by moment."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pydantic import TypeAdapter

from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.voxels import MOMENTS, Grid, solid_filling, surface_filling
from glowsim.scene import Shape
from tests.support.meshes import ball, block, joined, mesh_of, turned

CUBE = mesh_of(block((20, 30, 40), (3, -2, 7)))


def column(a, b, c):
    return 9 * a + 3 * b + c


def whole_moments(filling, grid):
    """Return volume, first and second moments about the origin, (1,), (3,), (3, 3)."""
    cell = grid.cell_mm
    corner = grid.low_mm + grid.index(filling.cells) * cell
    share = filling.moments[:, 0]
    linear = [column(1, 0, 0), column(0, 1, 0), column(0, 0, 1)]
    local = filling.moments[:, linear]
    volume = share.sum() * cell**3
    first = (corner * share[:, None] + cell * local).sum(axis=0) * cell**3
    second = np.zeros((3, 3))
    for i in range(3):
        for k in range(3):
            power = np.zeros(3, int)
            power[i] += 1
            power[k] += 1
            product = filling.moments[:, column(*power)]
            second[i, k] = (
                corner[:, i] * corner[:, k] * share
                + cell * (corner[:, i] * local[:, k] + corner[:, k] * local[:, i])
                + cell**2 * product
            ).sum() * cell**3
    return volume, first, second


def shape(**table):
    return shape_mesh(TypeAdapter(Shape).validate_python(table))


@pytest.mark.parametrize("cell_mm", [1.7, 4.1])
def test_a_block_off_the_grid(cell_mm):
    grid = Grid.around(CUBE.bounds, cell_mm)
    volume, first, second = whole_moments(solid_filling(CUBE, grid), grid)
    # Along x and y a block is measured by lines at whole quarters of a cell, exactly along z.
    assert_allclose(volume, 24000, rtol=0.5 * cell_mm / 20)
    assert_allclose(first / volume, [3, -2, 7], atol=cell_mm / 8)
    about_middle = np.diag(second / volume - np.outer(first, first) / volume**2)
    assert_allclose(about_middle, [400 / 12, 900 / 12, 1600 / 12], rtol=cell_mm / 20)


def test_a_ball():
    mesh = mesh_of(ball(20, 5, at=(1, 2, 3)))
    grid = Grid.around(mesh.bounds, 2.0)
    volume, first, second = whole_moments(solid_filling(mesh, grid), grid)
    # 4/3 pi r^3, middle, and r^2 / 5 along each axis; flat faces lose 0.05 %.
    assert_allclose(volume, 4 / 3 * np.pi * 8000, rtol=2e-3)
    assert_allclose(first / volume, [1, 2, 3], atol=0.01)
    spread = second / volume - np.outer(first, first) / volume**2
    assert_allclose(spread, np.eye(3) * 400 / 5, rtol=5e-3, atol=0.1)


def test_a_cone():
    radius, height = 15.0, 40.0
    mesh = shape(kind="rod", length_mm=height, diameter_mm=2 * radius, top_diameter_mm=0.01)
    grid = Grid.around(mesh.bounds, 1.5)
    volume, first, second = whole_moments(solid_filling(mesh, grid), grid)
    # Elementary geometry: V = pi r^2 h / 3, middle at h / 4, spread 3 r^2 / 20 and 3 h^2 / 80.
    assert_allclose(volume, np.pi * radius**2 * height / 3, rtol=2e-3)
    assert_allclose(first / volume, [0, 0, height / 4], atol=0.02)
    spread = np.diag(second / volume - np.outer(first, first) / volume**2)
    expected = [3 * radius**2 / 20] * 2 + [3 * height**2 / 80]
    assert_allclose(spread, expected, rtol=0.01)


def test_finer_cells_measure_better():
    mesh = mesh_of(ball(10, 5))
    errors = []
    for cell_mm in (4.0, 2.0, 1.0, 0.5):
        grid = Grid.around(mesh.bounds, cell_mm)
        volume, _, _ = whole_moments(solid_filling(mesh, grid), grid)
        errors.append(abs(volume / mesh.volume_mm3 - 1))
    assert errors[0] < 0.02
    assert errors[-1] < errors[0] / 8
    assert errors[-1] < 3e-4


def test_cells_wholly_inside_are_exactly_full():
    grid = Grid.around(CUBE.bounds, 4.0)
    filling = solid_filling(CUBE, grid)
    lowest = grid.low_mm + grid.index(filling.cells) * 4.0
    inner = ((lowest > CUBE.bounds[0] + 0.1) & (lowest + 4.0 < CUBE.bounds[1] - 0.1)).all(axis=1)
    assert inner.sum() > 100
    unit = np.array([1, 1 / 2, 1 / 3])
    full = np.einsum("a,b,c->abc", unit, unit, unit).ravel()
    assert_allclose(filling.moments[inner], np.tile(full, (inner.sum(), 1)), rtol=1e-6)
    assert filling.moments[:, 0].max() <= 1 + 1e-9
    assert filling.moments.shape[1] == MOMENTS
    assert (np.diff(filling.cells) > 0).all()


def test_a_hollow_is_left_out():
    shell = mesh_of(joined(ball(20, 5), turned(ball(15, 5))))
    grid = Grid.around(shell.bounds, 1.3)
    volume, _, second = whole_moments(solid_filling(shell, grid), grid)
    assert_allclose(volume, 4 / 3 * np.pi * (20**3 - 15**3), rtol=4e-3)  # thin rims, flat faces
    # Integral of x^2 over a shell: 4 pi (R^5 - r^5) / 15.
    assert_allclose(np.diag(second), 4 * np.pi * (20**5 - 15**5) / 15, rtol=6e-3)


def test_a_wall_thinner_than_a_cell():
    shell = mesh_of(joined(ball(20, 5), turned(ball(19.5, 5))))
    grid = Grid.around(shell.bounds, 2.0)
    volume, _, _ = whole_moments(solid_filling(shell, grid), grid)
    assert_allclose(volume, shell.volume_mm3, rtol=0.01)  # lines half a millimetre apart


def test_a_sampled_surface_keeps_its_area_and_middle():
    mesh = mesh_of(ball(20, 5, at=(5, 0, 0)))
    grid = Grid.around(mesh.bounds, 3.0)
    filling = surface_filling(mesh.centroids, mesh.areas_mm2, grid)
    assert_allclose(filling.moments[:, 0].sum(), mesh.areas_mm2.sum(), rtol=1e-12)  # a sum
    corner = grid.low_mm + grid.index(filling.cells) * 3.0
    linear = filling.moments[:, [column(1, 0, 0), column(0, 1, 0), column(0, 0, 1)]]
    first = (corner * filling.moments[:, :1] + 3.0 * linear).sum(axis=0)
    assert_allclose(first / mesh.areas_mm2.sum(), [5, 0, 0], atol=1e-6)
    assert (np.diff(filling.cells) > 0).all()


def test_cells_and_places():
    grid = Grid.around(np.array([[0, 0, 0], [10, 20, 30]], float), 2.5)
    points = np.random.default_rng(0).uniform(0, [10, 20, 30], (500, 3))
    cells, local = grid.locate(points)
    assert (cells >= 0).all()
    assert cells.max() < grid.counts.prod()
    assert ((local >= 0) & (local <= 1)).all()
    assert_allclose(grid.low_mm + (grid.index(cells) + local) * 2.5, points, rtol=1e-12)
    assert np.array_equal(grid.flat(grid.index(cells)), cells)
    assert_allclose(grid.centres_mm(cells), points + (0.5 - local) * 2.5, rtol=1e-12)


def test_the_grid_covers_what_it_is_laid_around():
    for cell_mm in (0.3, 1.0, 7.0):
        grid = Grid.around(CUBE.bounds, cell_mm)
        assert (grid.low_mm <= CUBE.bounds[0]).all()
        assert (grid.low_mm + grid.counts * cell_mm >= CUBE.bounds[1]).all()
