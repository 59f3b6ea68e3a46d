"""What apps make known to those below them when they start: pages, tables, kinds of work.

PLACES = Registry[Place](order=attrgetter("order", "name"))
PLACES.register(Place("shelf", "Shelf", url_name="shelf"))     # in an app's `ready()`
"""

from collections.abc import Callable, Iterator
from operator import attrgetter
from typing import Any, Generic, TypeVar

Thing = TypeVar("Thing")


class Registry(Generic[Thing]):
    """Things by their names. They come in the order in which they came, or as `order` has it."""

    def __init__(
        self,
        *,
        name: Callable[[Thing], str] = attrgetter("name"),
        order: Callable[[Thing], Any] | None = None,
    ) -> None:
        self._name, self._order = name, order
        self._things: dict[str, Thing] = {}

    def register(self, thing: Thing) -> None:
        """Make a thing known; the same name again replaces it."""
        self._things[self._name(thing)] = thing

    def unregister(self, name: str) -> None:
        """Forget a thing, if it is known."""
        self._things.pop(name, None)

    def get(self, name: str) -> Thing | None:
        """The thing of that name, or None."""
        return self._things.get(name)

    def __iter__(self) -> Iterator[Thing]:
        known = list(self._things.values())
        return iter(sorted(known, key=self._order) if self._order else known)
