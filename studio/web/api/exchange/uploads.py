"""Reading files that are handed in, with a bound on the whole body."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import RequestDataTooBig
from rest_framework.parsers import MultiPartParser

#: Beside the file: its name, the other fields and the lines between them.
ROUND_THE_FILE = 16_384


class BoundedMultiPartParser(MultiPartParser):
    """Form data with a file of at most `view.most_bytes`; a larger body is refused unread (413)."""

    def parse(
        self, stream: Any, media_type: Any = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        context = parser_context or {}
        length = int(context["request"].META.get("CONTENT_LENGTH") or 0)
        if length > context["view"].most_bytes + ROUND_THE_FILE:
            raise RequestDataTooBig
        return super().parse(stream, media_type, parser_context)
