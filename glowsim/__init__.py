"""glowsim: where an LED-lit prop will glow, burn a hot spot or stay dark.

Five lines from a scene file to a judgement and a picture:

    import glowsim
    prop = glowsim.read_scene("scenes/moon_orb.toml")
    glow = glowsim.solve(prop)
    print(glowsim.findings_of(glow, prop.scene))
    glowsim.photo(glow, prop.scene)     # an image; a notebook shows it

Names are imported when they are first used, so that `import glowsim` itself is quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from glowsim.catalogue import load_catalogue as load_catalogue
    from glowsim.decisions.flashes import flashes as flashes
    from glowsim.decisions.modules import modules as modules
    from glowsim.decisions.placing import place as place
    from glowsim.decisions.sliding import slide as slide
    from glowsim.decisions.sweep import local_processes as local_processes
    from glowsim.decisions.thickness import thickness as thickness
    from glowsim.electrics.as_wired import as_wired as as_wired
    from glowsim.electrics.heat import heat_of as heat_of
    from glowsim.errors import GeometryError as GeometryError
    from glowsim.errors import GlowsimError as GlowsimError
    from glowsim.errors import MaterialError as MaterialError
    from glowsim.errors import PictureError as PictureError
    from glowsim.errors import SceneError as SceneError
    from glowsim.errors import SolveError as SolveError
    from glowsim.findings import agreement_of as agreement_of
    from glowsim.findings import findings_of as findings_of
    from glowsim.pictures import Studio as Studio
    from glowsim.pictures import bright_map as bright_map
    from glowsim.pictures import compared as compared
    from glowsim.pictures import export_glow as export_glow
    from glowsim.pictures import photo as photo
    from glowsim.pictures import save_picture as save_picture
    from glowsim.pictures import write_turntable as write_turntable
    from glowsim.scene import parse_scene as parse_scene
    from glowsim.scene import read_scene as read_scene
    from glowsim.scene import write_scene as write_scene
    from glowsim.transport.reference import Goal as Goal
    from glowsim.transport.solve import solve as solve
    from glowsim.transport.store import load_glow as load_glow
    from glowsim.transport.store import save_glow as save_glow
    from glowsim.transport.sure import Sure as Sure

_HOMES = {
    "glowsim.catalogue": ("load_catalogue",),
    "glowsim.decisions.flashes": ("flashes",),
    "glowsim.decisions.modules": ("modules",),
    "glowsim.decisions.placing": ("place",),
    "glowsim.decisions.sliding": ("slide",),
    "glowsim.decisions.sweep": ("local_processes",),
    "glowsim.decisions.thickness": ("thickness",),
    "glowsim.electrics.as_wired": ("as_wired",),
    "glowsim.electrics.heat": ("heat_of",),
    "glowsim.errors": (
        *("GeometryError", "GlowsimError", "MaterialError", "PictureError", "SceneError"),
        "SolveError",
    ),
    "glowsim.findings": ("agreement_of", "findings_of"),
    "glowsim.pictures": (
        *("Studio", "bright_map", "compared", "export_glow", "photo", "save_picture"),
        "write_turntable",
    ),
    "glowsim.scene": ("parse_scene", "read_scene", "write_scene"),
    "glowsim.transport.reference": ("Goal",),
    "glowsim.transport.solve": ("solve",),
    "glowsim.transport.store": ("load_glow", "save_glow"),
    "glowsim.transport.sure": ("Sure",),
}
"""Where each public name lives."""
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME_OF)


def __getattr__(name: str) -> Any:
    if name == "__version__":
        # Asked for, never kept: a clone may have moved on since it was installed.
        return importlib.import_module("importlib.metadata").version("glowsim")
    if name not in _HOME_OF:
        raise AttributeError(f"module 'glowsim' has no attribute '{name}'")
    return getattr(importlib.import_module(_HOME_OF[name]), name)


def __dir__() -> list[str]:
    return [*(name for name in globals() if name.startswith("__")), *__all__]
