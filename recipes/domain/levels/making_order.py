"""The order of levels: users before what they use, and no material that is needed for itself."""

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping
from typing import TypeVar

from recipes.errors import ProductionCycle

Key = TypeVar("Key", bound=Hashable)


def making_order(
    made_of: Mapping[Key, Collection[Key]],
    tops: Iterable[Key],
    *,
    name: Callable[[Key], str] = str,
) -> tuple[Key, ...]:
    """All that `tops` need, each after everything that uses it; read backward, it is making order.

    `made_of` says what each made material is made of, `name` how to call one. Raises
    ProductionCycle with the path from a material down to itself.
    """
    done: dict[Key, None] = {}
    for top in tops:
        if cycle := _descend(top, made_of, done):
            names = [name(step) for step in cycle]
            raise ProductionCycle(
                f"{names[0]} would be needed to make itself: {' > '.join(names)}.",
                details={"path": names},
            )
    return tuple(reversed(done))


def _descend(top: Key, made_of: Mapping[Key, Collection[Key]], done: dict[Key, None]) -> list[Key]:
    """Walk down without recursion, so that no number of levels is too many; the cycle, if any."""
    if top in done:
        return []
    path: dict[Key, Iterator[Key]] = {top: iter(made_of.get(top, ()))}
    while path:
        here = next(reversed(path))
        below = next((part for part in path[here] if part not in done), None)
        if below is None:
            done[here] = None
            path.popitem()
        elif below in path:
            steps = list(path)
            return [*steps[steps.index(below) :], below]
        else:
            path[below] = iter(made_of.get(below, ()))
    return []
