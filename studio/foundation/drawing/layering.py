"""Nodes in columns from left to right, so that each edge leads rightward and few edges cross.

The way is the usual one for layered drawings: longest path for the columns, a bend in each column
that an edge passes, then the mean place of the neighbors for the order, sweeping right and left
(K. Sugiyama, S. Tagawa, M. Toda: Methods for Visual Understanding of Hierarchical System
Structures, IEEE Transactions on Systems, Man, and Cybernetics 11, 1981). The same graph always
gives the same drawing.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

SWEEPS = 6
Key = Hashable
Edge = tuple[Key, Key]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """Where edges from one node pass a column; edges from the same node share their bends."""

    source: Key
    layer: int


def layers_of(nodes: Sequence[Key], edges: Sequence[Edge]) -> dict[Key, int]:
    """The column of each node: one right of the rightmost node that leads to it.

    Edges that close a circle do not count, so that every graph has columns.
    """
    forward = _without_circles(nodes, edges)
    open_ends = dict.fromkeys(nodes, 0)
    following: dict[Key, list[Key]] = {node: [] for node in nodes}
    for start, end in forward:
        open_ends[end] += 1
        following[start].append(end)
    found = dict.fromkeys(nodes, 0)
    ready = [node for node in nodes if not open_ends[node]]
    while ready:
        node = ready.pop(0)
        for end in following[node]:
            found[end] = max(found[end], found[node] + 1)
            open_ends[end] -= 1
            if not open_ends[end]:
                ready.append(end)
    return found


def _without_circles(nodes: Sequence[Key], edges: Sequence[Edge]) -> list[Edge]:
    """The edges but those that lead back to a node that is still being followed."""
    following: dict[Key, list[Key]] = {node: [] for node in nodes}
    for start, end in edges:
        following[start].append(end)
    kept: list[Edge] = []
    on_the_way: set[Key] = set()
    done: set[Key] = set()
    for root in nodes:
        if root in done:
            continue
        trail = [(root, iter(following[root]))]
        on_the_way.add(root)
        while trail:
            node, ends = trail[-1]
            end = next(ends, None)
            if end is None:
                trail.pop()
                on_the_way.discard(node)
                done.add(node)
                continue
            if end in on_the_way:
                continue
            kept.append((node, end))
            if end not in done:
                on_the_way.add(end)
                trail.append((end, iter(following[end])))
    return kept


def with_bends(layers: Mapping[Key, int], edges: Sequence[Edge]) -> list[Edge]:
    """Edges cut into pieces that each lead to the next column; those that lead back stay whole."""
    pieces: dict[Edge, None] = {}
    for start, end in edges:
        before: Key = start
        for layer in range(layers[start] + 1, layers[end]):
            bend = Bend(source=start, layer=layer)
            pieces[(before, bend)] = None
            before = bend
        pieces[(before, end)] = None
    return list(pieces)


def ordered(layers: Mapping[Key, int], pieces: Sequence[Edge]) -> list[list[Key]]:
    """The columns, each from top to bottom, ordered so that few pieces cross."""
    all_layers: dict[Key, int] = dict(layers)
    for piece in pieces:
        all_layers |= {key: key.layer for key in piece if isinstance(key, Bend)}
    columns: list[list[Key]] = [[] for _ in range(max(all_layers.values(), default=-1) + 1)]
    for key, layer in all_layers.items():
        columns[layer].append(key)
    before: dict[Key, list[Key]] = {key: [] for key in all_layers}
    after: dict[Key, list[Key]] = {key: [] for key in all_layers}
    for start, end in pieces:
        if all_layers[start] < all_layers[end]:
            before[end].append(start)
            after[start].append(end)
    best, fewest = [list(column) for column in columns], crossings(columns, pieces)
    for sweep in range(SWEEPS):
        rightward = sweep % 2 == 0
        neighbors = before if rightward else after
        for index in range(1, len(columns)) if rightward else range(len(columns) - 2, -1, -1):
            beside = columns[index - 1 if rightward else index + 1]
            columns[index] = _by_neighbors(columns[index], beside, neighbors)
        found = crossings(columns, pieces)
        if found < fewest:
            best, fewest = [list(column) for column in columns], found
    return best


def _by_neighbors(
    column: Sequence[Key], beside: Sequence[Key], neighbors: Mapping[Key, Sequence[Key]]
) -> list[Key]:
    place = {key: index for index, key in enumerate(beside)}
    share = len(beside) / max(len(column), 1)

    def mean(entry: tuple[int, Key]) -> float:
        index, key = entry
        found = [place[neighbor] for neighbor in neighbors[key] if neighbor in place]
        return sum(found) / len(found) if found else index * share

    return [key for _, key in sorted(enumerate(column), key=mean)]


def crossings(columns: Sequence[Sequence[Key]], pieces: Sequence[Edge]) -> int:
    """How many pairs of pieces between the same two columns cross."""
    at = {
        key: (layer, row) for layer, column in enumerate(columns) for row, key in enumerate(column)
    }
    between: dict[int, list[tuple[int, int]]] = {}
    for start, end in pieces:
        if at[end][0] == at[start][0] + 1:
            between.setdefault(at[start][0], []).append((at[start][1], at[end][1]))
    count = 0
    for spans in between.values():
        spans.sort()
        for index, (start, end) in enumerate(spans):
            count += sum(other > start and below < end for other, below in spans[index + 1 :])
    return count
