"""Random productions, made through the ledger's services, and the graph that they must leave."""

from dataclasses import dataclass, field
from itertools import count

import networkx
from hypothesis import strategies as st

from inventory.domain.stock.holds import asked_for
from inventory.domain.stock.ledger import Verb
from inventory.domain.stock.lots import LotState
from inventory.models.stock.lots import Lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, add_cost, add_parts, open_lots, parts_of
from studio.foundation.money import split
from tests.inventory.making import TODAY, make_lot, make_material

PLENTY = 10_000
_DOCUMENTS = count(1)


@dataclass(frozen=True)
class Step:
    """One production: positions of the lots that it takes, amounts, and how many it makes.

    `into` is the position of a lot that stands already and gets the parts (packaging).
    """

    takes: tuple[tuple[int, int], ...]
    makes: int
    into: int | None = None


@dataclass
class Made:
    """Lots in the order made, and the graph of codes with the amounts on its edges."""

    lots: list[Lot] = field(default_factory=list)
    graph: networkx.DiGraph = field(default_factory=networkx.DiGraph)


def steps(most: int = 12) -> st.SearchStrategy[list[Step]]:
    take = st.tuples(st.integers(0, 50), st.integers(1, 20))
    return st.lists(
        st.builds(
            Step,
            takes=st.lists(take, min_size=1, max_size=4).map(tuple),
            makes=st.integers(1, 2),
            into=st.none() | st.integers(0, 50),
        ),
        max_size=most,
    )


def produce(plan: list[Step], *, raw: int = 3, state: LotState = LotState.RELEASED) -> Made:
    """Open `raw` bought lots and run the plan; positions are taken modulo what there is."""
    material = make_material()
    made = Made()
    for _ in range(raw):
        _know(made, make_lot(material, PLENTY, 1_000))
    for step in plan:
        origin = Origin(reference=f"batch:{next(_DOCUMENTS)}")
        wanted: dict[int, int] = {}
        for position, amount in step.takes:
            pk = made.lots[position % len(made.lots)].pk
            wanted[pk] = wanted.get(pk, 0) + amount
        if step.into is not None:
            child = made.lots[step.into % len(made.lots)]
            wanted.pop(child.pk, None)
        # Each lot that is made takes as much: what went in is what was consumed.
        times = 1 if step.into is not None else step.makes
        taken = [
            draw(pk, amount * times, origin=origin, any_state=True) for pk, amount in wanted.items()
        ]
        parts = {pk: amount // times for pk, amount in parts_of(taken).items()}
        # The cost of what is taken goes on, as the proof of the books demands of a batch.
        cost = sum(take.cost for take in taken)
        if step.into is not None:
            add_parts(child.pk, parts, origin=origin)
            if cost:
                add_cost(child.pk, cost, origin=origin)
            _join(made, child, parts)
            continue
        new = [
            NewLot(
                material=material,
                amount=PLENTY,
                cost=part,
                received_on=TODAY,
                holds=asked_for(state, "as made"),
                made_of=parts,
            )
            for part in split(cost, [1] * step.makes)
        ]
        for lot in open_lots(new, verb=Verb.PRODUCE, origin=origin):
            _know(made, lot)
            _join(made, lot, parts)
    return made


def chain(depth: int) -> list[Step]:
    """Each lot is made of the one before it."""
    return [Step(takes=((position, 1),), makes=1) for position in range(depth)]


def _know(made: Made, lot: Lot) -> None:
    made.lots.append(lot)
    made.graph.add_node(lot.code)


def _join(made: Made, child: Lot, parts: dict[int, int]) -> None:
    codes = {lot.pk: lot.code for lot in made.lots}
    for pk, amount in parts.items():
        before = made.graph.get_edge_data(codes[pk], child.code, {"amount": 0})["amount"]
        made.graph.add_edge(codes[pk], child.code, amount=before + amount)
