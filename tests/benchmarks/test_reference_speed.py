"""How fast the reference solver is: plain, with jumps, and beside a published mesh code.

Times are CPU seconds, so that other work on the machine hardly matters; only ratios in one run and
correctness are asserted. Run with: python -m pytest -m benchmark -s tests/benchmarks
"""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pytest

from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Orb, Spike
from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference import Goal, Tallies
from glowsim.transport.reference.run import Follower
from tests.support.bodies import body, emitters, medium
from tests.support.monte_carlo import Share, leaving

pytestmark = pytest.mark.benchmark

CONE = Spike(kind="spike", length_mm=120, base_diameter_mm=40, tip_radius_mm=2)
SOURCE = (0.1, 0.2, 14.0)


def timed(problem: BodyProblem, photons: int, jumps: bool) -> tuple[float, Tallies]:
    """Return CPU seconds for following photons, preparation apart, and the tallies."""
    follower = Follower(problem, seed=1, jumps=jumps, earlier=None)
    started = time.process_time()
    follower.follow_until(
        Goal(noise=None, photons=photons), lambda progress: None, lambda: False, 0.0
    )
    return time.process_time() - started, follower.tallies


@pytest.mark.parametrize(
    ("reduced", "g", "n"), [(0.4, 0.65, 1.0), (1.0, 0.0, 1.0), (1.0, 0.9, 1.5), (3.0, 0.8, 1.5)]
)
def test_scatterings_per_second(reduced, g, n):
    """Plain transport in the 120 mm cone."""
    material = medium([0.0012, 0.0022, 0.0077], reduced, g, n)
    problem = body(shape_mesh(CONE), [material], emitters([SOURCE]), cell_mm=1.0, face_mm=3.0)
    photons = int(1.5e7 * (1 - g) / (100 + 400 * reduced**2))
    seconds, tallies = timed(problem, photons, jumps=False)
    scatterings, searches = tallies.events[0, :2]
    count = tallies.photons[0]
    print(
        f"\nmu_s' {reduced:g}/mm g {g:g} n {n:g}: {scatterings / seconds / 1e6:.0f} M scatterings, "
        f"{count / seconds / 1e3:.0f} k photons per CPU second; per photon "
        f"{scatterings / count:.0f} scatterings, {searches / count:.1f} searches for a wall"
    )
    assert abs(tallies.balance()).max() < 1e-9


def spread(tallies: Tallies) -> float:
    """Return the square of a face's relative error times the photons that hit it."""
    square, out = tallies.square[0, :, 1].sum(dtype=float), tallies.out[0, :, 1].sum()
    return float(square * tallies.photons[0] / out**2)


@pytest.mark.parametrize("n", [1.0, 1.5])
@pytest.mark.parametrize("g", [0.0, 0.65, 0.9])
def test_jumps_against_plain(g, n):
    """The same error on the bright faces so many times sooner: the ratio of the times per photon,
    times that of the spreads of the weights."""
    radius = 20.0
    outer = shape_mesh(Orb(kind="orb", diameter_mm=2 * radius))
    print(
        f"\ng {g:g}, n {n:g}: radius in l*, us per photon plain and with jumps, "
        "how many times sooner at the same error"
    )
    for lengths in (3, 10, 30, 100, 300):
        reduced = lengths / radius
        material = medium(0.0012 / reduced, reduced, g, n)
        lights = emitters([[0.013, 0.021, 0.008]], both_ways=True)
        problem = body(outer, [material], lights, cell_mm=1.0, face_mm=2.5)
        work = (lengths**2 / 2 + 2.4 * lengths + 20) / (1 - g)
        seconds, plain = timed(problem, min(100_000, int(6e7 / work) + 1), jumps=False)
        jump_seconds, jumped = timed(problem, 400_000, jumps=True)
        per_photon = seconds / plain.photons[0], jump_seconds / jumped.photons[0]
        one, other = leaving(plain), leaving(jumped)
        ratio = per_photon[0] / per_photon[1] * spread(plain) / spread(jumped)
        print(
            f"  {lengths:4d}  {1e6 * per_photon[0]:8.1f}  {1e6 * per_photon[1]:6.1f}  {ratio:6.1f}"
            f"   let out {one.mean:.4f} +- {one.error:.4f}, {other.mean:.4f} +- {other.error:.4f}"
        )
        assert one.off(other) < 4
        assert ratio > {30: 2, 100: 15, 300: 80}.get(lengths, 0)


def tetrahedra(mesh, edge_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Fill a convex body: its surface points and a jittered lattice inside, by Delaunay."""
    import trimesh
    from scipy.spatial import Delaunay

    vertices, faces = trimesh.remesh.subdivide_to_size(mesh.vertices, mesh.faces, edge_mm)
    surface = trimesh.Trimesh(vertices, faces, process=True).vertices
    low, high = mesh.bounds
    axes = [np.arange(low[k] + 0.3 * edge_mm, high[k], edge_mm) for k in range(3)]
    inner = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    inner += np.random.default_rng(0).uniform(-0.2, 0.2, inner.shape) * edge_mm
    nodes = np.concatenate([surface, inner[depth_mm(mesh, inner) > 0.4 * edge_mm]])
    cells = Delaunay(nodes).simplices
    corner = nodes[cells]
    volume = np.linalg.det(corner[:, 1:] - corner[:, :1]) / 6
    cells[volume < 0] = cells[volume < 0][:, [0, 2, 1, 3]]
    cells = cells[np.abs(volume) > 1e-6]
    assert np.abs(volume).sum() == pytest.approx(mesh.volume_mm3, rel=1e-6)
    return nodes, cells


def mesh_code_runs() -> bool:
    """Return whether pmmc runs here; a machine without OpenCL makes it fail or end the process."""
    code = (
        "import numpy as np, pmmc;"
        "n = np.array([[0,0,0],[9,0,0],[0,9,0],[9,9,0],[0,0,9],[9,0,9],[0,9,9],[9,9,9]], float);"
        "e = np.array([[1,2,8,4],[1,3,4,8],[1,2,6,8],[1,5,8,6],[1,3,8,7],[1,5,7,8]]);"
        "pmmc.run(nphoton=100, node=n, elem=e, elemprop=np.ones(6), tstart=0, tend=1e-9,"
        " tstep=1e-9, srcpos=[4.1, 4.2, 0], srcdir=[0, 0, 1], compute='sse',"
        " prop=np.array([[0, 0, 1, 1], [0.005, 1, 0.01, 1.37]]))"
    )
    try:
        run = subprocess.run([sys.executable, "-c", code], capture_output=True, timeout=60)
    except subprocess.TimeoutExpired:
        return False
    return run.returncode == 0


@pytest.mark.parametrize(("reduced", "g"), [(0.4, 0.65), (1.0, 0.0)])
def test_against_a_mesh_code(reduced, g):
    """pmmc (Fang, Biomed. Opt. Express 1, 165 (2010)), compute='sse': the same cone, medium and
    cores, by each of its ways of tracing. Its mesh has edges of 4 mm, a little coarser than our
    result faces of 3 mm; finer Delaunay meshes hold slivers in which it gets stuck.

    Not among the project's requirements (it is GPL): pip install pmmc, and an OpenCL runtime.
    """
    if not mesh_code_runs():
        pytest.skip("pmmc cannot run here: pip install pmmc, and an OpenCL runtime (pocl)")
    import pmmc

    mesh, mu_a = shape_mesh(CONE), 0.01
    lights = emitters([SOURCE], both_ways=True)
    problem = body(mesh, [medium(mu_a, reduced, g)], lights, cell_mm=1.0, face_mm=3.0)
    seconds, tallies = timed(problem, 400_000, jumps=False)
    ours, rate = leaving(tallies), tallies.photons[0] / seconds
    print(f"\nmu_s' {reduced:g}/mm g {g:g}: {rate / 1e3:.0f} k photons per CPU second, let out "
          f"{ours.mean:.5f} +- {ours.error:.5f}")  # fmt: skip
    nodes, cells = tetrahedra(mesh, 4.0)
    base = np.linalg.solve(
        np.transpose(nodes[cells][:, :3] - nodes[cells][:, 3:], (0, 2, 1)),
        (np.array(SOURCE) - nodes[cells][:, 3])[:, :, None],
    )[:, :, 0]
    first = int(np.column_stack([base, 1 - base.sum(axis=1)]).min(axis=1).argmax()) + 1
    fastest, photons = 0.0, 50_000
    for method in ("elem", "havel", "grid"):
        started = time.process_time()
        result = pmmc.run(
            nphoton=photons, node=nodes, elem=cells + 1, elemprop=np.ones(len(cells)),
            prop=np.array([[0, 0, 1, 1], [mu_a, reduced / (1 - g), g, 1.0]]), srcpos=list(SOURCE),
            srcdir=[0, 0, 1], srctype="isotropic", e0=first, tstart=0, tend=1e-7, tstep=1e-7,
            isreflect=0, compute="sse", method=method, outputtype="energy", isnormalized=0, seed=17,
        )  # fmt: skip
        theirs = photons / (time.process_time() - started)
        fastest = max(fastest, theirs)
        out = 1 - float(np.asarray(result["flux"], dtype=float).sum()) / photons
        # It gives no error: weights between 0 and 1 spread as ours do.
        error = ours.error * np.sqrt(tallies.photons[0] / photons)
        print(f"  pmmc {method}: {theirs / 1e3:.0f} k, let out {out:.5f} +- {error:.5f}")
        assert Share(out, error).agrees(ours)
    print(f"  {rate / fastest:.1f} times the photons per second of its fastest")
    assert rate / fastest > 2
