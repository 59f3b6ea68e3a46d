"""By what a material is made here and where it is used, as those say who make or use it.

Inventory knows of no recipe; whoever does registers both in its app's `ready()`:

    from inventory.queries.catalog.makers import MAKERS, QUESTIONS, Maker, Question

    MAKERS.register(Maker("recipes", recipes_making))
    QUESTIONS.register(Question("recipes", recipes_with))
"""

from collections.abc import Callable
from dataclasses import dataclass

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from studio.foundation.registry import Registry


@dataclass(frozen=True, slots=True, kw_only=True)
class Making:
    """What makes a material, in words ("recipe bl-clay"), and what it makes of it."""

    words: str
    kind: MaterialKind
    counted: bool = False
    alkali: str = ""


@dataclass(frozen=True, slots=True)
class Maker:
    """`ask` takes the material's id and tells what makes it."""

    name: str
    ask: Callable[[int], list[Making]]


MAKERS = Registry[Maker]()


def makings_of(material_id: int) -> list[Making]:
    """All that makes a material here, in the order of the makers."""
    return [making for maker in MAKERS for making in maker.ask(material_id)]


def has_lots_made(material_id: int) -> bool:
    """Whether any lot of a material was made here. One query."""
    made = StockEntry.objects.filter(lot__material=material_id, verb=Verb.PRODUCE.value)
    return made.exists()


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Something that a material goes into: its name, the code of its page, the page's name."""

    name: str
    code: str
    page: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """`ask` takes the material's code and looks with one query."""

    name: str
    ask: Callable[[str], list[Use]]


QUESTIONS = Registry[Question]()


def where_used(code: str) -> list[Use]:
    """All that a material goes into, in the order of the questions."""
    return [use for question in QUESTIONS for use in question.ask(code)]
