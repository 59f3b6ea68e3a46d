"""A lot's trace as one graph: what went into it at its left, what was made of it at its right."""

from inventory.domain.shipping.trace import Direction, Trace, TracedLot
from inventory.pages.words import state_words
from inventory.queries.shipping.trace import trace
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.graph import Node, layered_graph
from studio.web.pages.places import page_address


def trace_graph(code: str) -> tuple[Chart, int, Trace]:
    """The graph, how many lots went into it, and what was made of it. Six queries."""
    above, below = trace(code, Direction.UP), trace(code, Direction.DOWN)
    lots = {lot.code: lot for lot in (*above.lots, *below.lots)}
    edges = [(link.parent, link.child) for way in (above, below) for link in way.links]
    graph = layered_graph(
        prefix="trace",
        title=f"Trace of lot {code}",
        nodes=[_node(lot, is_subject=lot.code == code) for lot in lots.values()],
        edges=edges,
    )
    return graph, len(above.lots) - 1, below


def _node(lot: TracedLot, *, is_subject: bool) -> Node:
    word, mark = state_words(lot.state, on_hand=lot.on_hand)
    return Node(
        key=lot.code,
        label=lot.material_name,
        sub=lot.code,
        href="" if is_subject else page_address("lot-page", lot.code),
        state=word,
        tone=mark or "plain",
        is_subject=is_subject,
    )
