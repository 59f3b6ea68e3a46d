"""The kinds of causes that alerts are raised for: each app registers its own when it starts.

    from inventory.services.alerts.registry import CAUSES, Cause

    CAUSES.register(Cause(kind="cure-ready", title="Cured", find=cure_ready, one="is ready"))

`find(look)` returns a `Finding` for every cause that holds on that day, with a fixed number of
queries. Alerts are opened, followed and closed from that alone.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from operator import attrgetter
from typing import Any

from django.db.models import Q

from inventory.domain.alerts.causes import Finding
from inventory.models.alerts.alerts import Alert
from studio.foundation.registry import Registry
from studio.foundation.units.writing import format_amount

Line = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What is looked at: a day, and the materials with ids from `first` until before `before`."""

    on: date
    first: int = 0
    before: int | None = None

    def covers(self, column: str) -> Q:
        """The condition that the id of a material in `column` is among those looked at."""
        if self.everywhere:
            return Q()
        within = Q(**{f"{column}__gte": self.first})
        return within if self.before is None else within & Q(**{f"{column}__lt": self.before})

    @property
    def everywhere(self) -> bool:
        """Whether all materials are looked at."""
        return self.first == 0 and self.before is None


def plain_words(alerts: Sequence[Alert], on: date) -> list[tuple[str, list[Line]]]:
    """What a mail says of alerts: for each its heading, and labels with what stands beside them."""
    return [(alert.name, [("Why", alert.reason)]) for alert in alerts]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A kind of cause. `one` says in a mail's subject what happened to a name, `many` to several.

    `amounts` are the figures that are amounts of stock. With `by_material` it can be looked for in
    a part of the materials; each of its findings then names the material. Alerts of a kind that
    `shows_costs` are for those who may see costs; mails go to owners, who may.
    """

    kind: str
    title: str
    intro: str = ""
    find: Callable[[Look], list[Finding]]
    one: str
    many: str = ""
    words: Callable[[Sequence[Alert], date], list[tuple[str, list[Line]]]] = plain_words
    amounts: frozenset[str] = field(default_factory=frozenset)
    by_material: bool = False
    shows_costs: bool = False

    def headline(self, names: Sequence[str]) -> str:
        """What happened to the names, as a subject says it."""
        return f"{listed(names)} {self.many if len(names) > 1 and self.many else self.one}"


#: In the order in which mails tell of them. Open alerts of a kind taken away stay as they are.
CAUSES = Registry[Cause](name=attrgetter("kind"))


def costly_kinds() -> list[str]:
    """The kinds whose alerts show costs or prices."""
    return [cause.kind for cause in CAUSES if cause.shows_costs]


def shown_figures(alert: Alert) -> dict[str, Any]:
    """An alert's figures as programs read them: an amount of stock is {"amount", "unit"}."""
    cause = CAUSES.get(alert.kind)
    amounts = cause.amounts if cause else frozenset()
    unit = alert.figures.get("unit")
    return {
        name: {"amount": format_amount(value, unit), "unit": unit}
        if name in amounts and unit and value is not None
        else value
        for name, value in alert.figures.items()
        if name != "unit"
    }


def listed(names: Iterable[str], *, most: int = 3) -> str:
    """Names as a subject shows them: the first few, and how many more there are."""
    all_names = list(names)
    more = f" and {len(all_names) - most} more" if len(all_names) > most else ""
    return ", ".join(all_names[:most]) + more
