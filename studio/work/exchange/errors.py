"""What the exchange of tables refuses."""

from studio.foundation.errors import Kind, Refusal, StateConflict


class TableClosed(Refusal):
    """A table that the role does not cover, or that shows costs which are not open to it."""

    code = "table-closed"
    kind = Kind.FORBIDDEN
    title = "This table is not open to you"


class ImportConflict(StateConflict):
    """An import is not in a state for that: it has faults, is still being checked, or is over."""

    code = "import-conflict"
    title = "The import is not in a state for that"
