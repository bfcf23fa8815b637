"""The names a body uses: are they known, and has anything behind them changed?"""

from __future__ import annotations

import hashlib
import json
from typing import Any, Literal

from glowsim.catalogue import Catalogue
from glowsim.geometry.body import mesh_file_digest, mesh_path
from glowsim.scene import SceneFile
from glowsim.tomlfile import KeyPath


def check_names(scene_file: SceneFile, number: int, catalogue: Catalogue) -> None:
    """Raise SceneError for the first name in body `number` that nothing stands behind."""
    body = scene_file.scene.bodies[number]
    at: KeyPath = ("bodies", number)

    def require(kind: Literal["material", "coat", "board"], name: str, *keys: str | int) -> None:
        problem = catalogue.fault(kind, name)
        if problem:
            raise scene_file.fault((*at, *keys), problem)

    if body.material not in catalogue.coats:
        require("material", body.material, "material")
    elif body.wall_mm is not None:
        raise scene_file.fault(
            (*at, "wall_mm"),
            f"'{body.material}' is a thin sheet with its own thickness; leave wall_mm out",
        )
    for k, insert in enumerate(body.inserts):
        if insert.material is not None:
            require("material", insert.material, "inserts", k, "material")
        if insert.coat is not None:
            require("coat", insert.coat, "inserts", k, "coat")
    for k, mask in enumerate(body.masks):
        require("coat", mask.coat, "masks", k, "coat")
    for k, light in enumerate(body.lights):
        require("board", light.board, "lights", k, "board")
        board = catalogue.board(light.board)
        if light.led_count is not None and board.kind != "strip":
            raise scene_file.fault(
                (*at, "lights", k, "led_count"),
                f"only a strip can be cut; '{light.board}' always has {board.led_count} LEDs",
            )


def body_key(scene_file: SceneFile, number: int, catalogue: Catalogue) -> str:
    """Return a digest of all that decides how body `number` answers light.

    How it is called, where it stands and how its lights are driven do not. Raises SceneError
    for a missing mesh file.
    """
    body = scene_file.scene.bodies[number]
    plain = body.model_dump(
        mode="json", exclude={"name", "position_mm", "rotation_deg", "patterns", "lights"}
    )
    used: dict[str, Any] = {}
    for name in (body.material, *(str(i.material or i.coat) for i in body.inserts)):
        entry = catalogue.materials.get(name) or catalogue.coats.get(name)
        used[name] = entry.model_dump(mode="json") if entry else None
    for mask in body.masks:
        used[mask.coat] = catalogue.coats[mask.coat].model_dump(mode="json")
    lights = []
    for light in body.lights:
        board = catalogue.boards[light.board]
        lights.append(
            [
                light.model_dump(
                    mode="json", include={"position_mm", "direction", "along", "separate_leds"}
                ),
                board.led_offsets_mm(light.led_count).tolist(),
                board.half_intensity_full_angle_deg,
            ]
        )
    files = []
    for keys, mesh_file in (
        (("mesh",), body.mesh),
        *((("inserts", k, "mesh"), insert.mesh) for k, insert in enumerate(body.inserts)),
    ):
        if mesh_file is not None:
            mesh_path(scene_file, ("bodies", number, *keys), mesh_file)
            files.append(mesh_file_digest(mesh_file, scene_file.folder))
    text = json.dumps([plain, used, lights, files], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:24]
