"""`glowsim schema`: the JSON Schema of scene files."""

from __future__ import annotations

from typing import Any

import click

from glowsim.catalogue import Battery, Board, Coat, Material
from glowsim.cli.common import print_json
from glowsim.scene import scene_schema

LIKE = "The entry this one starts from: what is not said here is taken from there."


@click.command(
    name="schema",
    epilog="Example:\n\n  glowsim schema > glowsim-scene.schema.json\n\n"
    "and put as first line of a scene:  #:schema glowsim-scene.schema.json",
)
@click.option("--readings", is_flag=True, help="That of readings files for `calibrate` instead.")
def command(readings: bool) -> None:
    """Print the JSON Schema of scene files, for editors that complete and check TOML."""
    if readings:
        from glowsim.calibration.readings import readings_schema

        print_json(readings_schema())
        return
    print_json(whole_schema())


def whole_schema() -> dict[str, Any]:
    """Return the JSON Schema of scene files with that of a user's own catalogue entries in it."""
    schema = scene_schema()
    own = (("materials", Material), ("coats", Coat), ("boards", Board), ("batteries", Battery))
    for key, model in own:
        entry = model.model_json_schema(ref_template="#/$defs/{model}")
        schema["$defs"].update(entry.pop("$defs", {}))
        # An entry of the user's own may take everything else from another one.
        entry.pop("required", None)
        entry["properties"]["like"] = {"type": "string", "description": LIKE}
        schema["$defs"][model.__name__] = entry
        schema["properties"][key]["additionalProperties"] = {"$ref": f"#/$defs/{model.__name__}"}
    return schema
