"""A lot's trace as one graph: what went into it at its left, what was made of it at its right."""

from typing import Literal

from inventory.domain.shipping.trace import Direction, Trace, TracedLot
from inventory.queries.shipping.trace import trace
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.graph import Node, layered_graph
from studio.web.pages.places import page_address

Tone = Literal["plain", "good", "soon", "danger"]
_TONES: dict[str, Tone] = {"blocked": "danger", "quarantine": "soon"}


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
    word = "in quarantine" if lot.state == "quarantine" else lot.state
    if lot.state == "released" and not lot.on_hand:
        word = "used up"
    return Node(
        key=lot.code,
        label=lot.material_name,
        sub=lot.code,
        href="" if is_subject else page_address("lot-page", lot.code),
        state=word,
        tone=_TONES.get(lot.state, "good" if lot.on_hand else "plain"),
        is_subject=is_subject,
    )
