"""Why a file is refused as a whole, before its rows are looked at."""

from typing import Any, ClassVar, Self

from studio.foundation.errors import Fault, InvalidInput


class TableRefusal(InvalidInput):
    """A file that cannot be read as the table it is handed in for, or is too large."""

    code: ClassVar[str] = "table-refused"
    title: ClassVar[str] = "The file cannot be read as that table"

    @classmethod
    def because(cls, code: str, message: str, field: str = "file", **details: Any) -> Self:
        """The refusal with one fault whose own `code` says why."""
        return cls(faults=[Fault(code, message, field, details)])
