"""Pages and API parse, call one service or query, and answer: they neither lock nor transact."""

import ast

import pytest

from tests.architecture.tree import sources

EDGES = {"api", "pages", "paper"}
#: The frames of the studio, which put a request into one transaction, are no edge of an app.
APPS = ("inventory", "recipes", "costing")
KEPT_IN_SERVICES = {"select_for_update", "atomic", "savepoint", "on_commit"}


def kept_elsewhere(nodes):
    """The names of locks and transactions that a module uses."""
    names = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
    names |= {
        alias.name for node in nodes if isinstance(node, ast.ImportFrom) for alias in node.names
    }
    return names & {*KEPT_IN_SERVICES, "transaction"}


def edges():
    return [
        source
        for source in sources()
        if (parts := source.name.split("/"))[0] in APPS and parts[1] in EDGES
    ]


def test_edges_neither_lock_nor_open_transactions():
    found = {source.name: names for source in edges() if (names := kept_elsewhere(source.nodes))}
    assert len(edges()) > 150
    assert not found


@pytest.mark.parametrize(
    "line",
    [
        "from django.db import transaction",
        "from django.db.transaction import atomic",
        "rows.select_for_update().get(pk=1)",
        "with django.db.transaction.atomic(): pass",
    ],
)
def test_each_way_to_lock_is_found(line):
    assert kept_elsewhere([*ast.walk(ast.parse(line))])
    assert not kept_elsewhere(edges()[0].nodes)
