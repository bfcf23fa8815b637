"""Quick where it holds, the reference where it does not, in one result."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.decisions.thickness import thickness
from glowsim.decisions.trial import Trial
from glowsim.findings import findings_of
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.reference import Goal
from glowsim.transport.sizes import Sizes
from glowsim.transport.solve import solve
from glowsim.transport.solvers import BOTH, QUICK, REFERENCE
from glowsim.transport.store import load_glow, load_tallies, save_glow
from glowsim.transport.sure import Sure, made_sure, rough_bodies
from tests.support.scenes import THICK, THIN

SCENE = THICK + THIN
pytestmark = pytest.mark.usefixtures("small_batches")
FEW = Goal(noise=None, photons=1)
"""One batch: photons are followed in whole batches."""
ARRAYS = ("diffuse", "direct", "mean_direction", "error")


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """A sure glow of a body that quick holds for and of one that it does not, and its files."""
    folder = tmp_path_factory.mktemp("sure")
    glow = solve(
        parse_scene(SCENE),
        seed=3,
        saved=folder / "glow.npz",
        sure=FEW,
        photons=folder / "reference.npz",
    )
    return glow, folder


def test_each_body_is_its_own_solvers(both):
    glow, _ = both
    assert glow.solver == BOTH
    assert [body.by_reference for body in glow.bodies] == [False, True]
    quick = solve(parse_scene(SCENE), seed=3)
    reference = solve(parse_scene(SCENE), method="reference", seed=3, goal=FEW)
    assert not quick.bodies[0].trust
    assert quick.bodies[1].trust
    for name in ARRAYS:
        for found, own in zip(glow.bodies, (quick.bodies[0], reference.bodies[1]), strict=True):
            np.testing.assert_array_equal(getattr(found, name), getattr(own, name))


def test_findings_say_which_is_whose(both):
    glow, _ = both
    findings = findings_of(glow, parse_scene(SCENE).scene)
    assert findings.by_reference == ("thin",)
    assert findings.as_json()["solved_by_reference"] == ["thin"]
    assert set(findings.noise) == {"thin"}
    assert findings.trust["thin"] == ()
    assert "(quick and reference solver)" in str(findings)


def test_what_is_kept_is_used_again(both, tmp_path):
    glow, folder = both
    assert load_glow(folder / "glow.npz").solver == QUICK
    assert list(load_tallies(folder / "reference.npz")) == [glow.bodies[1].key]
    told: list[str] = []
    files = {"saved": folder / "glow.npz", "photons": folder / "reference.npz"}
    again = solve(parse_scene(SCENE), seed=3, sure=FEW, report=told.append, **files)
    assert told == []
    for name in ARRAYS:
        for one, other in zip(again.bodies, glow.bodies, strict=True):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    save_glow(glow, tmp_path / "sure.npz")
    back = load_glow(tmp_path / "sure.npz")
    assert back.solver == BOTH
    assert [body.by_reference for body in back.bodies] == [False, True]


def test_photons_of_a_run_that_followed_all_are_used_and_kept(tmp_path):
    file = tmp_path / "reference.npz"
    whole = solve(parse_scene(SCENE), method="reference", goal=FEW, saved=file)
    had = set(load_tallies(file))
    photons = sum(int(t["photons"].sum()) for t in load_tallies(file).values())
    more = Goal(noise=None, photons=photons + 1)
    glow = solve(parse_scene(SCENE), sure=more, photons=file, resume=True)
    assert set(load_tallies(file)) == had
    kept = {body.key: body for body in load_glow(file).bodies}
    np.testing.assert_array_equal(kept[whole.bodies[0].key].diffuse, whole.bodies[0].diffuse)
    np.testing.assert_array_equal(kept[glow.bodies[1].key].diffuse, glow.bodies[1].diffuse)


def test_nothing_rough_is_quicks_alone(tmp_path):
    file = tmp_path / "reference.npz"
    glow = solve(parse_scene(THICK), sure=FEW, photons=file)
    assert glow.solver == QUICK
    assert not file.exists()


def test_all_rough_is_the_references_alone():
    assert solve(parse_scene(THIN), sure=FEW).solver == REFERENCE


def test_a_body_that_is_not_asked_about_stays_quicks():
    plan = plan_of(parse_scene(SCENE))
    quick = solve(parse_scene(SCENE))
    assert rough_bodies(quick) == [quick.bodies[1].key]
    assert made_sure(plan, quick, FEW, only=[quick.bodies[0].key]) is quick
    assert made_sure(plan, quick, None) is quick


def test_ctrl_c_keeps_the_photons(tmp_path):
    file = tmp_path / "reference.npz"

    pressed: list[int] = []

    def press(body, share, progress):
        if progress.photons and not pressed:
            pressed.append(progress.photons)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt, match=r"photons are kept in .*--resume goes on"):
        solve(
            parse_scene(SCENE),
            saved=tmp_path / "glow.npz",
            sure=Goal(noise=None, photons=10**9),
            photons=file,
            watch=press,
        )
    assert load_glow(tmp_path / "glow.npz").solver == QUICK
    assert load_tallies(file)


def swept(folder: Path, told: list[str]):
    return thickness(
        parse_scene(THIN),
        from_mm=0,
        to_mm=8,
        steps=2,
        vary="around",
        sure=Sure(FEW, folder),
        report=lambda doing, done, total: told.append(doing),
    )


@pytest.mark.slow
def test_thickness_judges_rough_steps_by_the_reference_and_keeps_them(tmp_path):
    told: list[str] = []
    answer = swept(tmp_path, told)
    assert [step.as_json()["solver"] for step in answer.steps] == [REFERENCE, REFERENCE]
    alone = solve(answer.steps[0].scene_file, method="reference", goal=FEW)
    np.testing.assert_array_equal(answer.steps[0].glow.bodies[0].diffuse, alone.bodies[0].diffuse)
    assert "Solved by the reference solver, since quick is a rough guide" in answer.advice[0].text
    assert any("following photons" in text for text in told)
    kept = {file.name: file.read_bytes() for file in tmp_path.glob("reference-*.npz")}
    told.clear()
    again = swept(tmp_path, told)
    assert not any("following photons" in text for text in told)
    assert {file.name: file.read_bytes() for file in tmp_path.glob("reference-*.npz")} == kept
    assert [step.even for step in again.steps] == [step.even for step in answer.steps]


def test_what_placing_tries_is_judged_by_the_reference_where_quick_is_rough(tmp_path):
    """`place` and `modules` judge by trials; a trial asks of them no more than is given here."""
    ready = SimpleNamespace(prop=PreparedProp(seed=3), sizes={0: Sizes(6.0, 1.5)})
    for text, by_reference in ((THIN, True), (THICK, False)):
        scene_file = parse_scene(text)
        sure = Sure(FEW, tmp_path)
        step = Trial(ready, (0,), lambda text: None, sure).judged(scene_file, 1)
        assert step.by_reference is by_reference
        said = " ".join(step.trust_words("be warned"))
        assert ("Solved by the reference solver" in said) is by_reference
        assert bool(step.findings.noise) is by_reference
        quick = Trial(ready, (0,), lambda text: None).judged(scene_file, 1)
        assert not quick.by_reference
        assert ("be warned" in " ".join(quick.trust_words("be warned"))) is by_reference
    (kept,) = tmp_path.iterdir()
    assert kept.name.endswith("-3.npz")
