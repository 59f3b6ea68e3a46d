"""How a run on several processes deals its tests out: by modules, from both ends.

A module stays on one process, which makes what its tests share once (`once_a_module`, fixtures of a
module). One process begins with the modules that wait for programs they start, the others with
those that compute; they meet at short ones, so that none is left with a long one at the end. Marks
`xdist_group` would not do: pytest 9.2 knows nothing of the names that pytest-xdist 3.8 gives tests.
"""

from collections.abc import Sequence
from typing import Any

import pytest
from xdist.scheduler import LoadScopeScheduling

#: Modules that share what is made once a process, each with what they are dealt out as.
TOGETHER = {
    "the demonstration": ("tests/scenarios/test_demo.py", "tests/scenarios/test_moving.py"),
    "parsed sources": (
        "tests/architecture/test_edges.py",
        "tests/architecture/test_gates.py",
        "tests/architecture/test_rooms.py",
        "tests/architecture/test_style.py",
    ),
}
#: Start programs and wait for them: begun first, in this order, by one process.
WAITING = (
    "tests/browser/test_every_page.py",
    "tests/scenarios/test_demo.py",
    "tests/studio/test_serve.py",
    "tests/races/",
    "tests/browser/",
    "tests/scenarios/test_readme.py",
    "tests/scenarios/test_wheel.py",
)
#: Compute for long: begun first by the other processes, the last one before the others.
COMPUTING = (
    "tests/recipes/services/",
    "tests/inventory/services/",
    "tests/scenarios/",
    "tests/architecture/",
)
PART = {module: name for name, modules in TOGETHER.items() for module in modules}


def part_of(nodeid: str) -> str:
    """What a test is dealt out with."""
    module = nodeid.partition("::")[0]
    return PART.get(module, module)


def place(nodeid: str) -> int:
    """Where its module stands between the two ends: below 0 near the first, above near the last."""
    for order, begins in enumerate(WAITING):
        if nodeid.startswith(begins):
            return order - len(WAITING)
    return next((at for at, it in enumerate(COMPUTING, 1) if nodeid.startswith(it)), 0)


def put_in_place(items: list[pytest.Item]) -> None:
    """Sort the tests of a run; those of the same place stay in the order they were found in."""
    items.sort(key=lambda item: place(item.nodeid))


def unknown(modules: Sequence[str]) -> list[str]:
    """What is named above and is the beginning of no module."""
    named = (*WAITING, *COMPUTING, *PART)
    return [name for name in named if not any(module.startswith(name) for module in modules)]


class FromBothEnds(LoadScopeScheduling):
    """Gives the first process the next module from the front, and the others one from the back."""

    def _split_scope(self, nodeid: str) -> str:
        return part_of(nodeid)

    def _assign_work_unit(self, node: Any) -> None:
        if node is not self.nodes[0]:
            self.workqueue.move_to_end(next(reversed(self.workqueue)), last=False)
        super()._assign_work_unit(node)
