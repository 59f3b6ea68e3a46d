"""Where a material is used, as those say who write it into something.

Inventory knows of no recipe; whoever does registers a question in its app's `ready()`:

    from inventory.queries.where_used import register

    register("recipes", recipes_with)
"""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Something that a material goes into: its name, the code of its page, the page's name."""

    name: str
    code: str
    page: str
    note: str = ""


Question = Callable[[str], list[Use]]
_questions: dict[str, Question] = {}


def register(name: str, question: Question) -> None:
    """Add a question; it takes the material's code and looks with one query."""
    _questions[name] = question


def unregister(name: str) -> None:
    """Take a question away."""
    _questions.pop(name, None)


def where_used(code: str) -> list[Use]:
    """All that a material goes into, in the order of the questions."""
    return [use for question in _questions.values() for use in question(code)]
