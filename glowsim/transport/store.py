"""Result files: a glow saved whole, and found again when the same scene is asked once more."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glowsim.errors import SolveError
from glowsim.files import written_whole
from glowsim.geometry.mesh import Mesh
from glowsim.transport.air import packed_air, unpacked_air
from glowsim.transport.hollows import Entering
from glowsim.transport.likeness import Likeness
from glowsim.transport.problem import Copy, LightSource
from glowsim.transport.result import VERSION, Account, BodyGlow, SurfaceGlow

_BODY_ARRAYS = (
    *("glows", "hole", "whiteness", "diffuse", "direct", "mean_direction"),
    *("light_mm", "led_mm", "led_light"),
)
_ACCOUNT_ARRAYS = ("absorbed", "in_coats", "escaped", "through_holes", "lost")
_TALLY = "tally."
_AIR = {"air": False, "rough_air": True}
"""What may be known of how the faces see each other, and whether it is the rough one. Another way
to find it asks for another `VERSION`."""


Tables = dict[str, NDArray[Any]]
"""Arrays by name."""


def save_glow(
    glow: SurfaceGlow,
    path: str | os.PathLike[str],
    tallies: Mapping[str, Tables] | None = None,
) -> None:
    """Write a glow to an `.npz` file, whole or not at all.

    What is known by now of how its faces see each other goes along.

    tallies : by body key, what a later run needs to go on with each body.
    """
    arrays: dict[str, Any] = {}
    bodies = []
    for number, body in enumerate(glow.bodies):
        mesh = body.surface
        arrays[f"{number}.vertices"], arrays[f"{number}.faces"] = mesh.vertices, mesh.faces
        arrays[f"{number}.part"] = mesh.part
        for name in _BODY_ARRAYS:
            arrays[f"{number}.{name}"] = getattr(body, name)
        for name in _ACCOUNT_ARRAYS:
            arrays[f"{number}.account.{name}"] = getattr(body.account, name)
        arrays[f"{number}.index"] = body.face_index
        if body.error is not None:
            arrays[f"{number}.error"] = body.error
        if body.dark is not None:
            arrays[f"{number}.dark"] = body.dark
        if body.entering is not None:
            arrays[f"{number}.entering.lid"] = body.entering.lid
            arrays[f"{number}.entering.out"] = body.entering.out
        for name, table in (tallies or {}).get(body.key, {}).items():
            arrays[f"{number}.{_TALLY}{name}"] = table
        bodies.append(
            {
                "name": body.name,
                "key": body.key,
                "part_names": mesh.part_names,
                "regions": body.account.regions,
                "trust": body.trust,
                "notes": body.notes,
                "likeness": body.likeness.as_json() if body.likeness else None,
                "volume_mm3": body.volume_mm3,
            }
        )
    meta = {
        "version": VERSION,
        "title": glow.title,
        "solver": glow.solver,
        "seed": glow.seed,
        "seconds": glow.seconds,
        "bodies": bodies,
        "copies": [_listed(asdict(copy)) for copy in glow.copies],
        "lights": [_listed(asdict(light)) for light in glow.lights],
    }
    for name, air in glow.known_air.items():
        arrays.update({f"{name}.{key}": table for key, table in packed_air(air).items()})
    arrays["meta"] = np.frombuffer(json.dumps(meta).encode(), dtype=np.uint8)
    with written_whole(Path(path)) as temporary:
        np.savez(temporary, **arrays)


def load_glow(path: str | os.PathLike[str]) -> SurfaceGlow:
    """Read a glow. Raises SolveError if the file is missing, broken or of another version."""
    with _opened(path) as (meta, file):
        return _glow(meta, file)


def load_tallies(path: str | os.PathLike[str]) -> dict[str, Tables]:
    """Read what `save_glow` was given to go on with, by body key; raises as `load_glow` does."""
    with _opened(path) as (meta, file):
        tallies: dict[str, Tables] = {}
        for number, body in enumerate(meta["bodies"]):
            start = f"{number}.{_TALLY}"
            mine = {name[len(start) :]: file[name] for name in file if name.startswith(start)}
            if mine:
                tallies[body["key"]] = mine
        return tallies


@contextmanager
def _opened(path: str | os.PathLike[str]) -> Iterator[tuple[dict[str, Any], Any]]:
    """Give a file's description and its arrays."""
    try:
        with Path(path).open("rb") as stream, np.load(stream, allow_pickle=False) as file:
            meta = json.loads(file["meta"].tobytes().decode())
            if meta.get("version") != VERSION:
                raise SolveError(
                    f"{path} was written by another version of the program "
                    f"(format {meta.get('version')}, this one reads {VERSION}); solve it again"
                )
            yield meta, file
    except FileNotFoundError:
        raise SolveError(f"there is no result file {path}") from None
    except SolveError:
        raise
    except Exception as problem:
        # zipfile, numpy and json raise a dozen kinds on damaged bytes, and new ones by version.
        raise SolveError(
            f"{path} is not a readable result file ({problem}); solve it again"
        ) from None


def _glow(meta: dict[str, Any], file: Any) -> SurfaceGlow:
    bodies = []
    for number, known in enumerate(meta["bodies"]):
        mesh = Mesh(
            file[f"{number}.vertices"],
            file[f"{number}.faces"],
            file[f"{number}.part"],
            tuple(known["part_names"]),
        )
        account = Account(
            tuple(known["regions"]),
            *(file[f"{number}.account.{name}"] for name in _ACCOUNT_ARRAYS),
        )
        arrays = {name: file[f"{number}.{name}"] for name in _BODY_ARRAYS}
        error, lid = (file.get(f"{number}.{name}") for name in ("error", "entering.lid"))
        bodies.append(
            BodyGlow(
                name=known["name"],
                key=known["key"],
                surface=mesh,
                account=account,
                error=error,
                trust=tuple(known["trust"]),
                likeness=Likeness.from_json(known["likeness"]) if known["likeness"] else None,
                volume_mm3=known.get("volume_mm3"),
                index=file[f"{number}.index"],
                dark=file.get(f"{number}.dark"),
                entering=None if lid is None else Entering(lid, file[f"{number}.entering.out"]),
                notes=tuple(known["notes"]),
                **arrays,
            )
        )
    copies = tuple(
        Copy(c["name"], c["of"], c["body"], np.array(c["transform"]), tuple(c["lights"]))
        for c in meta["copies"]
    )
    lights = tuple(LightSource(**_arrayed(light)) for light in meta["lights"])
    glow = SurfaceGlow(
        meta["title"],
        tuple(bodies),
        copies,
        lights,
        meta["solver"],
        meta["seed"],
        meta["seconds"],
    )
    for name, rough in _AIR.items():
        start = f"{name}."
        packed = {key[len(start) :]: file[key] for key in file if key.startswith(start)}
        if packed:
            vars(glow)[name] = unpacked_air(packed, glow.bodies, copies, rough)
    return glow


def _listed(plain: dict[str, Any]) -> dict[str, Any]:
    return {k: v.tolist() if isinstance(v, np.ndarray) else v for k, v in plain.items()}


def _arrayed(plain: dict[str, Any]) -> dict[str, Any]:
    """Turn the lists of a light back into arrays; its other fields are text and numbers."""
    names = {f.name for f in fields(LightSource)}
    return {k: np.array(v) if isinstance(v, list) else v for k, v in plain.items() if k in names}
