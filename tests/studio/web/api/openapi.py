"""The schema that a description of an API must follow, as drf-spectacular ships it."""

import json
from pathlib import Path
from typing import Any

from drf_spectacular import validation
from drf_spectacular.renderers import OpenApiJsonRenderer
from jsonschema.validators import validator_for
from referencing import Registry, Resource

FILES = Path(validation.__file__).parent


def assert_is_openapi(described: dict[str, Any]) -> None:
    """What `spectacular --validate` asserts.

    That one has the whole schema searched again at each reference; here it is searched once, and
    the description checked against a reference to it.
    """
    version = "_".join(described["openapi"].split(".")[:2])
    schema = json.loads((FILES / f"openapi_{version}_schema.json").read_text(encoding="utf-8"))
    name, dialect = schema.get("$id") or schema["id"], schema["$schema"]
    registry = Registry().with_resource(name, Resource.from_contents(schema)).crawl()
    described = json.loads(OpenApiJsonRenderer().render(described))
    validator_for(schema)({"$schema": dialect, "$ref": name}, registry=registry).validate(described)
