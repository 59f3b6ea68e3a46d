"""Rows named in bodies and answers: by code, people by their account."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

LONGEST_CODE = 40


class CodeField(serializers.CharField):
    """The code of another row; written from the row or its code."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", LONGEST_CODE)
        super().__init__(**kwargs)

    def to_representation(self, value: Any) -> str:
        return str(getattr(value, "code", value))


@extend_schema_field({"type": ["string", "null"]})
class PersonField(serializers.Field[Any, Any, Any, Any]):
    """The name of the account that did it; null for the studio's own jobs."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Any) -> str:
        return str(value.get_username())
