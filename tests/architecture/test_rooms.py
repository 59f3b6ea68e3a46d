"""Subjects are rooms inside the rings: small, named alike in each ring, and nothing passes on."""

import ast
from collections import Counter

import pytest

from tests.architecture.tree import ROOT, Source, sources, tracked

MOST_FILES = 20
RINGS = ("domain", "models", "services", "queries", "api", "pages")
ROOMS = {
    "inventory": {
        *("catalog", "stock", "receiving", "counting"),
        *("buying", "shipping", "alerts", "exchange"),
    },
    "recipes": {
        *("formulas", "chemistry", "molds", "scales", "scaling", "bench"),
        *("cure", "labels", "levels", "exchange"),
    },
    "costing": {"rates", "bar_cost", "prices", "quotes", "orders", "profit", "what_if"},
}


def crowded(paths):
    """Folders with more files than a person takes in at one look."""
    counted = Counter(path.parent.relative_to(ROOT).as_posix() for path in paths)
    return {folder: count for folder, count in counted.items() if count > MOST_FILES}


def test_no_folder_holds_more_modules_than_one_look_takes_in():
    assert not crowded(source.path for source in sources(tests=True))


def test_no_folder_holds_more_templates_than_one_look_takes_in():
    templates = [path for path in tracked() if "templates" in path.parts]
    assert len(templates) > 100
    assert not crowded(templates)


@pytest.mark.parametrize("app", ROOMS)
def test_rings_and_their_tests_have_rooms_of_the_same_names(app):
    found = {
        (above, ring, folder.name)
        for above in (app, f"tests/{app}")
        for ring in RINGS
        for folder in (ROOT / above / ring).glob("*/")
        if folder.name != "__pycache__"
    }
    assert {ring for _, ring, _ in found} == set(RINGS)
    assert {room for _, _, room in found} <= ROOMS[app]


def only_passes_on(source: Source) -> bool:
    """Whether a module holds nothing but names of other modules."""
    names = [node for node in source.tree.body if isinstance(node, ast.ImportFrom)]
    rest = [
        node
        for node in source.tree.body
        if not isinstance(node, ast.ImportFrom | ast.Import)
        and not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
        and not (isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__")
    ]
    return bool(names) and not rest


def test_no_module_only_passes_names_on():
    """A name is imported from where it stands; `models/__init__` imports modules for Django."""
    assert not [source.name for source in sources(tests=True) if only_passes_on(source)]
