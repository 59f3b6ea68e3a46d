"""Graphs from left to right."""

import itertools

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.foundation.drawing.graph import Node, layered_graph
from studio.foundation.drawing.layering import crossings, layers_of, ordered, with_bends
from tests.studio.foundation.drawing.drawn import SVG, check, drawings, texts, words

keys = st.integers(0, 24).map(str)
edges = st.lists(st.tuples(keys, keys), max_size=60)
nodes = st.lists(
    st.builds(
        Node,
        key=keys,
        label=words,
        sub=words,
        state=words,
        tone=st.sampled_from(("plain", "good", "soon", "danger")),
        href=st.sampled_from(("", "/lots/1?a=1&b=2", '"><script>')),
        is_subject=st.booleans(),
    ),
    max_size=25,
    unique_by=lambda node: node.key,
)


def drawing(chart):
    """The one drawing of a graph, without the place that scrolls it."""
    (place,) = drawings(chart)
    (svg,) = place
    return svg


def named(*names):
    return [Node(key=name, label=name) for name in names]


@settings(max_examples=40)
@given(nodes, edges, words)
def test_any_graph_is_drawn_and_each_node_is_in_the_table(given_, joined, title):
    def drawn():
        return layered_graph(prefix="g", title=title, nodes=given_, edges=joined)

    check(drawn())
    assert drawn() == drawn()
    assert [row[:3] for row in drawn().rows] == [(n.label, n.sub, n.state) for n in given_]
    if any(node.href for node in given_):
        assert drawing(drawn()).get("role") == "group"


@given(st.lists(st.tuples(st.integers(0, 15), st.integers(0, 15)), max_size=40))
def test_columns_are_the_longest_paths(pairs):
    graph = nx.DiGraph((min(pair), max(pair)) for pair in pairs if pair[0] != pair[1])
    found = layers_of(list(graph), list(graph.edges))
    expected = dict.fromkeys(graph, 0)
    for node in nx.topological_sort(graph):
        for end in graph.successors(node):
            expected[end] = max(expected[end], expected[node] + 1)
    assert found == expected


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=30))
def test_circles_still_have_columns_and_each_piece_is_one_column_long(pairs):
    joined = list(dict.fromkeys(pair for pair in pairs if pair[0] != pair[1]))
    found = layers_of(range(10), joined)
    columns = ordered(found, with_bends(found, joined))
    at = {key: index for index, column in enumerate(columns) for key in column}
    assert all(at[node] == found[node] for node in range(10))
    for start, end in with_bends(found, joined):
        assert at[end] - at[start] <= 1


def test_crossings_that_need_not_be_are_taken_out():
    joined = [("a", "z"), ("b", "y"), ("c", "x")]
    found = layers_of(list("abcxyz"), joined)
    assert crossings([list("abc"), list("xyz")], joined) == 3
    assert crossings(ordered(found, joined), joined) == 0


def test_a_box_stands_right_of_what_leads_to_it_and_none_overlap():
    joined = [("a", "b"), ("b", "c"), ("a", "c"), ("d", "c"), ("c", "e"), ("c", "f")]
    chart = layered_graph(prefix="g", title="Trace", nodes=named(*"abcdef"), edges=joined)
    svg = drawing(chart)
    places = [(float(r.get("x")), float(r.get("y"))) for r in svg.findall(f"{SVG}rect")]
    assert len(set(places)) == 6
    high = float(svg.find(f"{SVG}rect").get("height"))
    by_column = {}
    for x, y in places:
        by_column.setdefault(x, []).append(y)
    for column in by_column.values():
        column.sort()
        assert all(b - a > high for a, b in itertools.pairwise(column))


@pytest.mark.parametrize("shape", ["chain", "fan"])
def test_of_a_large_graph_as_much_is_drawn_as_can_be_read(shape):
    every = named(*(f"n{index}" for index in range(200)))
    joined = [(f"n{index if shape == 'chain' else 0}", f"n{index + 1}") for index in range(199)]
    chart = layered_graph(prefix="g", title="Trace", nodes=every, edges=joined)
    check(chart)
    told = texts(drawing(chart))
    (more,) = (text for text in told if text.endswith(" more"))
    left_out = int(more.split()[2])
    assert left_out + sum(text.startswith("n") for text in told) == 200
    assert left_out == (176 if shape == "chain" else 187)
    assert len(chart.rows) == 200


def test_a_link_leads_where_it_says_and_nothing_breaks_out_of_it():
    node = Node(key="a", label="Lot", href='/lots/1?a=1&b="><script>')
    chart = layered_graph(prefix="g", title='"><script>', nodes=[node], edges=[])
    assert "<script" not in chart.svg
    (link,) = drawing(chart).findall(f"{SVG}a")
    assert link.get("href") == node.href
