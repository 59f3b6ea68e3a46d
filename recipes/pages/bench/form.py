"""The form of one reading at the bench, and what its script knows while the network is away."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.urls import reverse

from inventory.queries.stock.candidates import ChosenLot
from recipes.domain.bench.cautions import IN_SHORT
from recipes.pages.bench.shown_bench import ShownLine
from recipes.services.bench.actuals import Reading
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import QuantityFormField

#: One container, a second that was opened for the rest, and a third.
MOST_LOTS = 3
#: What somebody types into the form.
TYPED = ("amount", *(f"{what}{n}" for what in ("lot", "amount") for n in (1, 2, 3)))
#: By whether it is counted: on the card, and in the list, where there is less room.
_LABELS = {False: ("What the scale shows", "Scale shows"), True: ("What is counted", "Counted")}
_LOT_LABELS = ("From lot", "From a second lot", "From a third lot")


class WeighForm(forms.Form):
    """A reading of one line, in any unit; `left_out` says that nothing of it goes in."""

    amount = QuantityFormField(dimensions=[Dimension.MASS, Dimension.VOLUME])

    def __init__(
        self, data: Any, *, code: str, line: ShownLine, is_list: bool = False, **kwargs: Any
    ) -> None:
        position = line.position
        super().__init__(data, auto_id=f"id_line{position}_%s", **kwargs)
        self.line = line
        self.left_out = bool(data and data.get("left_out"))
        amount = self.fields["amount"]
        words = _LABELS[line.counted]
        amount.label = words[is_list]
        amount.required = not self.left_out
        if line.counted:
            self.fields["amount"] = QuantityFormField(
                dimensions=[Dimension.COUNT], label=amount.label, required=amount.required
            )
        self.fields["amount"].widget.attrs |= _asking(code, position)
        self._add_lots(line)

    def _add_lots(self, line: ShownLine) -> None:
        choices = [("", "As held"), *((lot.code, lot.label) for lot in line.others)]
        for number, label in enumerate(_LOT_LABELS, start=1):
            listed = choices if number == 1 else [("", "none"), *choices[1:]]
            self.fields[f"lot{number}"] = forms.ChoiceField(
                required=False, choices=listed, label=label
            )
            self.fields[f"amount{number}"] = QuantityFormField(
                required=False,
                dimensions=self.fields["amount"].dimensions,  # type: ignore[attr-defined]
                label="So much of it",
            )

    @property
    def lot_pairs(self) -> list[tuple[Any, Any]]:
        """The fields of each lot with its amount."""
        return [(self[f"lot{n}"], self[f"amount{n}"]) for n in range(1, MOST_LOTS + 1)]

    @property
    def names_lots(self) -> bool:
        """Whether another lot was named, or something is wrong with one."""
        given = self.data if self.is_bound else self.initial
        return any(given.get(name) for name in TYPED[1:])

    def clean(self) -> dict[str, Any]:
        """Amounts in stock units; nothing weighed is said by leaving out, not by a 0."""
        given = super().clean() or {}
        for name in ("amount", *(f"amount{n}" for n in range(1, MOST_LOTS + 1))):
            if isinstance(given.get(name), Quantity):
                given[name] = self._stock(name, given[name])
        if given.get("amount") == 0 and not self.left_out:
            self.add_error("amount", 'Nothing goes in? Then say so with "Leave it out".')
        for number in range(1, MOST_LOTS + 1):
            if given.get(f"amount{number}") and not given.get(f"lot{number}"):
                self.add_error(f"lot{number}", "Which lot did that come from?")
        return given

    def _stock(self, name: str, quantity: Quantity) -> int | None:
        material = self.line.line.row.material
        try:
            return stock_amount(
                quantity, counted=material.counted, density_g_ml=material.density_g_ml
            )
        except UnitRefusal as refusal:
            self.add_error(name, refusal.faults[0].message)
            return None

    def reading(self) -> Reading:
        """What was weighed, once the form is valid."""
        given = self.cleaned_data
        if self.left_out:
            return Reading(position=self.line.position, amount=0, written="left out")
        return Reading(
            position=self.line.position,
            amount=given["amount"],
            lots=[
                ChosenLot(code=given[f"lot{n}"], amount=given[f"amount{n}"]) for n in self._named()
            ],
            written=str(self.data.get("amount", "")).strip(),
        )

    def names(self) -> dict[str, str]:
        """Names of faults in the rules -> fields of the form."""
        return {
            "lots": "lot1",
            **{f"lots.{index}.amount": f"amount{n}" for index, n in enumerate(self._named())},
        }

    def _named(self) -> list[int]:
        return [n for n in range(1, MOST_LOTS + 1) if self.cleaned_data.get(f"lot{n}")]


def _asking(code: str, position: int) -> dict[str, str]:
    """Large, for a keyboard with digits once a script offers the units; judged while typing."""
    return {
        "autocomplete": "off",
        "autocapitalize": "off",
        "enterkeyhint": "done",
        "data-reading": str(position),
        "hx-get": reverse("bench-reading", args=[code]),
        "hx-trigger": "input changed delay:300ms, change",
        "hx-target": f"#judged-{position}",
        "hx-include": "closest form",
        "hx-params": "position,amount",
        "hx-sync": "this:replace",
        "hx-swap": "innerHTML",
    }


def bench_script(code: str, user_id: int, lines: Sequence[ShownLine] = ()) -> dict[str, Any]:
    """Whose readings may wait here, and the lines in the words of the page."""
    return {
        "batch": code,
        "person": user_id,
        "send": reverse("bench-weigh-page", args=[code]),
        "open": reverse("bench-page", args=[code]),
        "short": IN_SHORT,
        "lines": [_line(line) for line in lines],
    }


def _line(line: ShownLine) -> dict[str, Any]:
    return {
        "position": line.position,
        "heading": line.heading,
        "name": line.name,
        "portion": line.portion,
        "target": line.target[0],
        "other": line.target[1],
        "tolerance": line.tolerance[0],
        "scale": line.scale,
        "lots": [{"code": lot.code, "amount": lot.amount} for lot in line.lots],
        "others": [[lot.code, lot.label] for lot in line.others],
        "counted": line.counted,
        "done": line.is_done,
        "locked": line.is_locked,
        "lye": line.is_lye,
    }
