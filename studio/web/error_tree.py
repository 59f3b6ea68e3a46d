"""Between the faults of the domain and the nested errors of Django REST framework."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.settings import api_settings

from studio.foundation.errors import Fault, Refusal


class FaultCode(str):
    """An error code that carries the fault's details through the framework's error trees.

    The framework rebuilds each error from its text and its code alone, so the details ride on
    the code.
    """

    __slots__ = ("details",)
    details: Mapping[str, Any]

    def __new__(cls, code: str, details: Mapping[str, Any]) -> "FaultCode":
        made = super().__new__(cls, code)
        made.details = details
        return made


def faults_in(tree: Any, path: str = "") -> Iterator[Fault]:
    """All faults in an error tree, with dotted paths ("lines.2.quantity")."""
    if isinstance(tree, Mapping):
        for name, branch in tree.items():
            yield from faults_in(branch, _below(path, str(name)))
    elif isinstance(tree, list | tuple):
        for index, branch in enumerate(tree):
            nested = isinstance(branch, Mapping | list | tuple)
            yield from faults_in(branch, _below(path, str(index)) if nested else path)
    else:
        code = str(getattr(tree, "code", None) or "invalid")
        details = getattr(getattr(tree, "code", None), "details", {})
        yield Fault(code, str(tree), path, details)


def _below(path: str, name: str) -> str:
    if name in (api_settings.NON_FIELD_ERRORS_KEY, "__all__"):
        return path
    return f"{path}.{name}" if path else name


def as_validation_error(refusal: Refusal) -> ValidationError:
    """A refusal as the framework's ValidationError, so that it joins the other field errors."""
    return ValidationError(tree_of(refusal.faults))


def tree_of(faults: Iterable[Fault]) -> dict[str, Any]:
    """Faults as an error tree, nested by the parts of their paths."""
    tree: dict[str, Any] = {}
    for fault in faults:
        branch = tree
        *parents, leaf = fault.field.split(".") if fault.field else [""]
        for name in parents:
            below = branch.setdefault(name, {})
            if isinstance(below, list):  # the parent has errors of its own
                below = branch[name] = {api_settings.NON_FIELD_ERRORS_KEY: below}
            branch = below
        leaf = leaf or api_settings.NON_FIELD_ERRORS_KEY
        detail = ErrorDetail(fault.message, FaultCode(fault.code, fault.details))
        kept = branch.setdefault(leaf, [])
        if isinstance(kept, dict):
            kept = kept.setdefault(api_settings.NON_FIELD_ERRORS_KEY, [])
        kept.append(detail)
    return tree
