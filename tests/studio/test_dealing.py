"""How tests are dealt out to processes: whole modules, from both ends, each test once."""

from types import SimpleNamespace

import pytest

from tests.architecture.tree import ROOT
from tests.dealing import TOGETHER, FromBothEnds, part_of, put_in_place, unknown

MODULES = [path.relative_to(ROOT).as_posix() for path in (ROOT / "tests").rglob("test_*.py")]
FOUND = [
    "tests/architecture/test_style.py::test_files_are_short",
    "tests/costing/test_tasks.py::test_a",
    "tests/costing/test_tasks.py::test_b[a/b::c]",
    "tests/recipes/services/cure/test_cutting.py::test_c",
    "tests/scenarios/test_demo.py::test_d",
    "tests/scenarios/test_moving.py::test_e",
    "tests/studio/test_tasks.py::test_f",
    "tests/architecture/test_rooms.py::test_g",
]


class Process:
    """A process of a run that does what it is given when it is told."""

    def __init__(self, found):
        self.found, self.given, self.shutting_down = found, [], False
        self.gateway = SimpleNamespace(id="")

    def send_runtest_some(self, numbers):
        self.given += [self.found[number] for number in numbers]

    def shutdown(self):
        self.shutting_down = True


class Settings:
    """The options that the scheduler asks for, as pyproject.toml sets them."""

    option = SimpleNamespace(loadscopereorder=False)

    def __init__(self, processes):
        self.processes = processes

    def getvalue(self, name):
        return ["popen"] * self.processes


def dealt(names, *, processes):
    """What each process was given, in its order, when all of them take turns."""
    items = [SimpleNamespace(nodeid=name) for name in names]
    put_in_place(items)
    found = [item.nodeid for item in items]
    dealer, nodes = FromBothEnds(Settings(processes)), [Process(found) for _ in range(processes)]
    for node in nodes:
        dealer.add_node(node)
        dealer.add_node_collection(node, found)
    dealer.schedule()
    done = {id(node): 0 for node in nodes}
    while dealer.has_pending:
        for node in nodes:
            if done[id(node)] < len(node.given):
                done[id(node)] += 1
                dealer.mark_test_complete(node, found.index(node.given[done[id(node)] - 1]))
    return [node.given for node in nodes]


def test_what_is_named_is_there():
    assert unknown(MODULES) == []


@pytest.mark.parametrize("processes", [1, 2, 3])
def test_each_test_is_given_once_and_each_part_to_one_process(processes):
    given = dealt(FOUND, processes=processes)
    assert sorted(name for names in given for name in names) == sorted(FOUND)
    parts = [part for names in given for part in {part_of(name) for name in names}]
    assert len(parts) == len(set(parts))


def test_one_process_begins_with_what_waits_and_another_with_what_computes():
    waits, computes = dealt(FOUND, processes=2)
    assert waits[:2] == FOUND[4:6]
    assert {part_of(name) for name in computes[:2]} == {"parsed sources"}


def test_modules_that_share_what_is_made_once_are_one_part():
    assert {part_of(f"{module}::test") for module in TOGETHER["the demonstration"]} == {
        "the demonstration"
    }
