"""Tables of a file whose keys are described by the text below each, where the code says it too."""

from __future__ import annotations

import ast
import inspect
import textwrap
from itertools import pairwise
from typing import Any

from pydantic import BaseModel, GetJsonSchemaHandler
from pydantic_core import CoreSchema


class Described(BaseModel):
    """A table; a schema of it has what stands below each key.

    The validating library can look for that itself, but does so whenever the program starts,
    which took a tenth of a command's time; here the code is read when a schema is asked for.
    """

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Return the schema, with a description of every key that has one."""
        schema = handler(core_schema)
        table = handler.resolve_ref_schema(schema)
        for key, shown in table.get("properties", {}).items():
            if words := next((own[key] for own in map(_described, cls.__mro__) if key in own), ""):
                shown.setdefault("description", words)
        return schema


def _described(kind: type[Any]) -> dict[str, str]:
    """Return the text below each field of a class of ours, by the field's name."""
    if not issubclass(kind, Described):
        return {}
    (body,) = ast.parse(textwrap.dedent(inspect.getsource(kind))).body
    assert isinstance(body, ast.ClassDef)
    return {
        field.target.id: inspect.cleandoc(below.value.value)
        for field, below in pairwise(body.body)
        if isinstance(field, ast.AnnAssign)
        and isinstance(field.target, ast.Name)
        and isinstance(below, ast.Expr)
        and isinstance(below.value, ast.Constant)
        and isinstance(below.value.value, str)
    }
