"""Materials whose one set of figures is a fiction: prints, foams with skins, beads."""

from __future__ import annotations

from glowsim.catalogue import load_catalogue
from glowsim.catalogue.material import MEASUREMENT
from glowsim.scene import Scene


def fictions(scene: Scene) -> dict[str, str]:
    """Return what to know of such materials, by the first body that is made of each."""
    said: dict[str, str] = {}
    told: set[str] = set()
    for body in scene.bodies:
        text = _beware(body.material, scene)
        if text and text not in told:
            told.add(text)
            said[body.name] = f"{body.material}: {text}"
    return said


def _beware(name: str, scene: Scene) -> str:
    """Return what a material's entry warns of; nothing where it was measured."""
    own = scene.materials.get(name)
    if own is None:
        entry = load_catalogue().materials.get(name)
        return entry.beware if entry else ""
    if "beware" in own or MEASUREMENT[0] in own:
        return " ".join(str(own.get("beware", "")).split())
    like = own.get("like")
    if like == name:
        # An own entry of a shipped name starts from the shipped one.
        return _beware(name, scene.model_copy(update={"materials": {}}))
    return _beware(str(like), scene) if like else ""
