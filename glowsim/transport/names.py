"""The names a body uses: are they known, and has anything behind them changed?"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any, Literal

from glowsim.catalogue import Catalogue
from glowsim.errors import SceneError
from glowsim.geometry.boards import bore_mm, outline_mm
from glowsim.geometry.body import mesh_file_digest, mesh_path
from glowsim.geometry.drawing import file_digest
from glowsim.geometry.stencil import picture_path
from glowsim.scene import Body, FromDrawing, SceneFile
from glowsim.tomlfile import KeyPath
from glowsim.transport.sizes import Sizes

_OF_NO_ACCOUNT: Any = {
    "name": True,
    "position_mm": True,
    "rotation_deg": True,
    "patterns": True,
    "made": True,
    "placing": True,
    "wanted": True,
    "lights": True,
    "mesh": {"file"},
    "inner": {"file"},
    "inserts": {"__all__": {"name": True, "mesh": {"file"}}},
    "masks": {"__all__": {"name"}},
}
"""Keys that do not tell how a body answers light, or whose content is looked at by itself."""


def check_names(scene_file: SceneFile, number: int, catalogue: Catalogue) -> None:
    """Raise SceneError for the names in body `number` that nothing stands behind, all at once."""
    body = scene_file.scene.bodies[number]
    at: KeyPath = ("bodies", number)
    faults: list[str] = []

    def add(message: str, *keys: str | int) -> None:
        faults.append(str(scene_file.fault((*at, *keys), message)))

    def require(kind: Literal["material", "coat", "board"], name: str, *keys: str | int) -> bool:
        problem = catalogue.fault(kind, name)
        if problem:
            add(problem, *keys)
        return not problem

    if body.material not in catalogue.coats:
        require("material", body.material, "material")
    else:
        for key in ("wall_mm", "wall_by_height_mm", "infill"):
            if getattr(body, key) is not None:
                add(
                    f"'{body.material}' is a thin sheet with its own thickness; leave {key} out",
                    key,
                )
    for k, insert in enumerate(body.inserts):
        if insert.material is not None:
            require("material", insert.material, "inserts", k, "material")
        if insert.coat is not None:
            require("coat", insert.coat, "inserts", k, "coat")
    for k, mask in enumerate(body.masks):
        require("coat", mask.coat, "masks", k, "coat")
    for k, light in enumerate(body.lights):
        if not require("board", light.board, "lights", k, "board"):
            continue
        board, name = catalogue.board(light.board), light.board
        chain = "; a chain of such boards takes board_count or pitch_mm" if light.runs_along else ""
        if board.kind != "strip" and light.led_count is not None:
            add(
                f"only a strip can be cut; '{name}' always has {board.led_count} LEDs{chain}",
                *("lights", k, "led_count"),
            )
        if board.kind == "strip" and light.is_chain:
            add(
                f"'{name}' is a strip with a pitch of its own, not boards wired into a chain: give "
                "led_count in place of board_count and pitch_mm",
                *("lights", k, "board_count" if light.board_count else "pitch_mm"),
            )
    if faults:
        raise SceneError("\n".join(faults))


_WHERE = {"position_mm", "direction", "along", "separate_leds", "strip", "length_mm"}
"""Keys of a light, or of a strip's piece, that tell where it stands."""


def body_key(
    scene_file: SceneFile, number: int, catalogue: Catalogue, sizes: Sizes | None = None
) -> str:
    """Return a digest of all that decides how body `number` answers light.

    How it is called, where it stands and how its lights are driven do not. Raises SceneError
    for a missing mesh file.
    """
    return digest(
        unlit_key(scene_file, number, catalogue, sizes), _lights(scene_file, number, catalogue)
    )


def unlit_key(
    scene_file: SceneFile, number: int, catalogue: Catalogue, sizes: Sizes | None = None
) -> str:
    """Return the same digest without the lights."""
    body = scene_file.scene.bodies[number]
    plain = body.model_dump(mode="json", exclude=_OF_NO_ACCOUNT)
    used: dict[str, Any] = {}
    for name in (body.material, *(str(i.material or i.coat) for i in body.inserts)):
        entry = catalogue.materials.get(name) or catalogue.coats.get(name)
        used[name] = entry.model_dump(mode="json") if entry else None
    for mask in body.masks:
        used[mask.coat] = catalogue.coats[mask.coat].model_dump(mode="json")
    given = None if sizes is None else [sizes.face_mm, sizes.cell_mm]
    files = _files(scene_file, number) + _pictures(body, scene_file.folder)
    return digest(plain, used, files, bool(body.lights), given)


def geometry_key(scene_file: SceneFile, number: int) -> str:
    """Return a digest of what decides the shape of body `number` and of what is set into it."""
    body = scene_file.scene.bodies[number]
    inserts = {"shape", "mesh", "position_mm", "rotation_deg"}
    plain = body.model_dump(
        mode="json",
        include={"name": True, "shape": True, "mesh": True, "wall_mm": True,
                 "wall_by_height_mm": True, "inner": True, "infill": True,
                 "inserts": {"__all__": inserts}},
    )  # fmt: skip
    return digest(plain, _files(scene_file, number))


def digest(*parts: Any) -> str:
    """Return a short digest of plain data."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()[:24]


def _lights(scene_file: SceneFile, number: int, catalogue: Catalogue) -> list[Any]:
    lights = []
    for light in scene_file.scene.bodies[number].lights:
        board = catalogue.boards[light.board]
        lights.append(
            [
                light.model_dump(mode="json", include=_WHERE),
                board.led_offsets_mm(light.led_count).tolist(),
                board.half_intensity_full_angle_deg,
                outline_mm(board, light.led_count),
                [bore_mm(board), board.thickness_mm],
                [board.front_reflectance, board.back_reflectance],
            ]
        )
    return lights


def _files(scene_file: SceneFile, number: int) -> list[str]:
    """Return digests of a body's meshes and drawings; raises SceneError for a missing mesh."""
    body, files = scene_file.scene.bodies[number], []
    for keys, mesh_file in (
        (("mesh",), body.mesh),
        (("inner",), body.inner),
        *((("inserts", k, "mesh"), insert.mesh) for k, insert in enumerate(body.inserts)),
    ):
        if mesh_file is not None:
            mesh_path(scene_file, ("bodies", number, *keys), mesh_file)
            files.append(mesh_file_digest(mesh_file, scene_file.folder))
    for shape in (body.shape, *(insert.shape for insert in body.inserts)):
        if isinstance(shape, FromDrawing):
            files += [file_digest(scene_file.folder, name) for name in shape.files]
    return files


def _pictures(body: Body, folder: Path) -> list[str]:
    """Return digests of the pictures laid on a body, empty for one that cannot be read: whoever
    lays it on says so."""
    found = []
    for _, where in body.regions:
        if where.picture is not None:
            try:
                content = picture_path(where.picture, folder).read_bytes()
            except (OSError, ValueError):
                content = b""
            found.append(hashlib.sha256(content).hexdigest())
    return found
