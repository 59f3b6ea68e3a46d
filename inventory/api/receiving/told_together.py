"""What cannot be read of a delivery, told together with all else that is wrong with it."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from studio.foundation.errors import Fault, Refusal
from studio.web.api.views import StudioView
from studio.web.error_tree import faults_in, tree_of

Judge = Callable[[Any], Sequence[Fault]]


def read_or_tell_all(view: StudioView, request: Request, judge: Judge) -> Any:
    """The body, read by the view's serializer.

    Where some of it cannot be read, `judge` is shown the rest (required members may be missing),
    and what it finds joins the ValidationError, save what follows from the unread members.
    """
    try:
        return view.read(request)
    except ValidationError as unread:
        told = list(faults_in(unread.detail))
        rest = _without(request.data, {fault.field for fault in told})
        reader = view.get_serializer_class()(
            data=rest, context=view.get_serializer_context(), partial=True
        )
        if not reader.is_valid():
            raise
        try:
            found = judge(reader.validated_data)
        except Refusal:  # what cannot be written goes before what stands in the way of it
            raise unread from None
        more = _beside(found, {fault.field for fault in told})
        raise ValidationError(tree_of([*told, *more])) from unread


def _without(given: Any, paths: Iterable[str], at: str = "") -> Any:
    """A body without the members at these dotted paths; rows keep their places."""
    if isinstance(given, Mapping):
        below = {name: f"{at}.{name}" if at else str(name) for name in given}
        return {
            name: _without(value, paths, below[name])
            for name, value in given.items()
            if below[name] not in paths
        }
    if isinstance(given, list):
        return [_without(value, paths, f"{at}.{index}") for index, value in enumerate(given)]
    return given


def _beside(faults: Sequence[Fault], unread: set[str]) -> list[Fault]:
    """Faults that do not come of what was not read.

    What a line is of is named by two members; sums over all lines and charges are not known while
    one of them is not.
    """
    hidden = set(unread)
    for path in unread:
        row, _, member = path.rpartition(".")
        if member in ("material", "offer", "position", "scan"):
            hidden |= {row, f"{row}.material", f"{row}.offer", f"{row}.position", f"{row}.scan"}
        if row:
            hidden |= {"charges", "lines"}
    return [fault for fault in faults if fault.field not in hidden]
