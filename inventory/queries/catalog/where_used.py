"""Where a material is used, as those say who write it into something.

Inventory knows of no recipe; whoever does registers a question in its app's `ready()`:

    from inventory.queries.catalog.where_used import QUESTIONS, Question

    QUESTIONS.register(Question("recipes", recipes_with))
"""

from collections.abc import Callable
from dataclasses import dataclass

from studio.foundation.registry import Registry


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
