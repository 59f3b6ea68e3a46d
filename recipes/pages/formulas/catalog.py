"""The materials that a recipe is written with, as its pages find them."""

from collections.abc import Iterable

from django import forms

from inventory.domain.catalog.materials import MaterialKind
from inventory.queries.catalog.choices import MaterialChoice


class Catalog:
    """The materials that can be chosen, found by name or code."""

    def __init__(self, choices: Iterable[MaterialChoice]) -> None:
        self.choices = list(choices)
        self.by_code = {choice.code: choice for choice in self.choices}
        self._by_name: dict[str, list[MaterialChoice]] = {}
        for choice in self.choices:
            self._by_name.setdefault(choice.name.casefold(), []).append(choice)

    @property
    def to_weigh(self) -> list[MaterialChoice]:
        """What can be a line: everything but alkali, poured soap and bars."""
        apart = {MaterialKind.ALKALI.value, MaterialKind.BATTER.value, MaterialKind.BAR.value}
        return [choice for choice in self.choices if choice.kind not in apart]

    def find(self, text: str) -> MaterialChoice:
        """The material of a name or code. Raises ValidationError saying what to write."""
        named = self._by_name.get(text.casefold(), [])
        if len(named) == 1:
            return named[0]
        if text in self.by_code:
            return self.by_code[text]
        if named:
            codes = ", ".join(choice.code for choice in named)
            raise forms.ValidationError(f"Several have this name; write the code: {codes}.")
        raise forms.ValidationError(
            "No material has this name or code. Choose one of the list, or add it on the shelf."
        )
