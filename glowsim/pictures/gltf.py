"""Binary glTF 2.0 (ISO/IEC 12113), as much of it as a glowing surface asks for.

The package for meshes would write it too; to load that and have it look at every array took as
long as both pictures.
"""

from __future__ import annotations

import io
import json
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.writing import PNG_EFFORT

_FLOAT, _BYTE = 5126, 5121
_LINEAR, _CLAMP = 9729, 33071
"""Names of OpenGL for a texture without smaller copies of itself, which would mix unrelated
triangles, and without repetition."""
_ALIGNED = 4
_JSON, _BINARY = 0x4E4F534A, 0x004E4942


class Gltf:
    """A scene in the making: arrays first, meshes of them, then the places where these stand."""

    def __init__(self) -> None:
        self._binary = bytearray()
        self._tree: dict[str, list[dict[str, Any]]] = {
            name: []
            for name in (
                *("nodes", "meshes", "materials", "textures", "images"),
                *("accessors", "bufferViews"),
            )
        }

    def _add(self, kind: str, entry: dict[str, Any]) -> int:
        self._tree[kind].append(entry)
        return len(self._tree[kind]) - 1

    def _view(self, content: bytes) -> int:
        start = len(self._binary)
        self._binary += content + bytes(-len(content) % _ALIGNED)
        entry = {"buffer": 0, "byteOffset": start, "byteLength": len(content)}
        return self._add("bufferViews", entry)

    def array(self, values: NDArray[Any], bounds: bool = False) -> int:
        """Add an array, (n,) or (n, 2..4): bytes stand for 0 to 1, all else becomes float32.

        bounds : say what lies in it, as a reader may ask of places
        """
        as_bytes = values.dtype == np.uint8
        plain = np.ascontiguousarray(values, dtype=np.uint8 if as_bytes else "<f4")
        entry = {
            "bufferView": self._view(plain.tobytes()),
            "componentType": _BYTE if as_bytes else _FLOAT,
            "count": len(plain),
            "type": "SCALAR" if plain.ndim == 1 else f"VEC{plain.shape[1]}",
        }
        if as_bytes:
            entry["normalized"] = True
        if bounds:
            entry |= {"min": plain.min(axis=0).tolist(), "max": plain.max(axis=0).tolist()}
        return self._add("accessors", entry)

    def emitting(self, picture: Image.Image) -> int:
        """Add a black material that emits a picture."""
        file = io.BytesIO()
        picture.save(file, "png", compress_level=PNG_EFFORT)
        entry = {"bufferView": self._view(file.getvalue()), "mimeType": "image/png"}
        texture = self._add("textures", {"source": self._add("images", entry), "sampler": 0})
        black = {"baseColorFactor": [0, 0, 0, 1], "metallicFactor": 0, "roughnessFactor": 1}
        return self._add(
            "materials",
            {
                "pbrMetallicRoughness": black,
                "emissiveFactor": [1, 1, 1],
                "emissiveTexture": {"index": texture},
            },
        )

    def mesh(self, name: str, attributes: dict[str, int], material: int) -> int:
        """Add a mesh of loose triangles; attributes : arrays by what glTF calls them."""
        primitive = {"attributes": attributes, "material": material}
        return self._add("meshes", {"name": name, "primitives": [primitive]})

    def place(self, name: str, mesh: int, transform: FloatArray) -> None:
        """Have a mesh stand somewhere, by a (4, 4) transform."""
        matrix = np.asarray(transform).T.ravel().tolist()  # glTF goes down the columns
        self._add("nodes", {"name": name, "mesh": mesh, "matrix": matrix})

    def content(self) -> bytes:
        """Return the file."""
        sampler = {"magFilter": _LINEAR, "minFilter": _LINEAR, "wrapS": _CLAMP, "wrapT": _CLAMP}
        tree = {
            "asset": {"version": "2.0", "generator": "glowsim"},
            "scene": 0,
            "scenes": [{"nodes": list(range(len(self._tree["nodes"])))}],
            "samplers": [sampler],
            "buffers": [{"byteLength": len(self._binary)}],
            **self._tree,
        }
        text = json.dumps(tree, separators=(",", ":")).encode()
        text += b" " * (-len(text) % _ALIGNED)
        chunks = [
            struct.pack("<II", len(part), kind) + part
            for part, kind in ((text, _JSON), (bytes(self._binary), _BINARY))
        ]
        whole = b"".join(chunks)
        return struct.pack("<4sII", b"glTF", 2, 12 + len(whole)) + whole
