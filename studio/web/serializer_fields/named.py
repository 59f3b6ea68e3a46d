"""Other rows in JSON, named by their codes."""

from typing import Any

from rest_framework import serializers

LONGEST_CODE = 40


class CodeField(serializers.CharField):
    """Another row, named by its code. Read as text: whether there is one, a service says."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", LONGEST_CODE)
        super().__init__(**kwargs)

    def to_representation(self, value: Any) -> str:
        return str(getattr(value, "code", value))
