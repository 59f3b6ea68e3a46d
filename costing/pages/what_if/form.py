"""Changes to ask about, as rows of a form: of what, and to what; all of it in the address."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms

from costing.domain.rates.rates import RateKind
from costing.pages.rates.set_up import RATES
from costing.queries.what_if.named import MOST_CHANGES, Named
from costing.queries.what_if.subjects import Subjects
from recipes.domain.chemistry.alkali_check import GREATEST_SUPERFAT, WEAKEST_LYE
from recipes.domain.chemistry.lye import STRONGEST_LYE
from studio.web.form_fields import ShareFormField

#: What the slider of a subject reaches, in percent, and where it begins: how far a price moves, or
#: what a share is to be.
REACH: Mapping[str, tuple[int, int, int]] = {
    "material": (-50, 100, 10),
    "offer": (-50, 100, 10),
    "rate": (-50, 100, 10),
    "good_bars": (50, 100, 95),
    "superfat": (0, 20, 5),
    "lye_concentration": (20, 50, 33),
}
_SHARES: Mapping[str, tuple[str, Decimal, Decimal]] = {
    "good_bars": ("Good bars, of all that are cut", Decimal("0.01"), Decimal(1)),
    "superfat": ("Superfat of every recipe", Decimal(0), GREATEST_SUPERFAT),
    "lye_concentration": ("Lye concentration of every recipe", WEAKEST_LYE, STRONGEST_LYE),
}
SHOWN_AT_FIRST = 2


class MoveField(ShareFormField):
    """How far something moves ("+30 %"), or what a share is to be ("6 %")."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(least=Decimal(-1), most=Decimal(10), **kwargs)

    def to_python(self, value: Any) -> Decimal | None:
        """A plus sign says nothing more."""
        return super().to_python(
            value.strip().removeprefix("+") if isinstance(value, str) else value
        )


class ChangeForm(forms.Form):
    """One change. The slider is a comfort of the script; the number counts."""

    of = forms.ChoiceField(required=False, label="What changes")
    to = MoveField(required=False, label="By, or to")

    def __init__(self, *args: Any, subjects: Subjects, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.subjects = subjects
        self.fields["of"].choices = [("", "Nothing"), *choices(subjects)]  # type: ignore[attr-defined]

    @property
    def kind(self) -> str:
        """What sort of thing is chosen; empty where none is."""
        return str(self["of"].value() or "").partition(":")[0]

    @property
    def reach(self) -> tuple[int, int, int]:
        """What the slider reaches."""
        return REACH.get(self.kind, REACH["material"])

    @property
    def slid(self) -> str:
        """Where the slider stands: the number, in whole percent."""
        try:
            share = self.fields["to"].clean(self["to"].value())
        except forms.ValidationError:
            share = None
        return str(self.reach[2] if share is None else round(share * 100))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        kind, share = str(given.get("of", "")).partition(":")[0], given.get("to")
        if given.get("of") and share is None and "to" not in self.errors:
            self.add_error("to", "Say by how much, or to what: 30 %.")
        if kind in _SHARES and share is not None:
            _, least, most = _SHARES[kind]
            if not least <= share <= most:
                low, high = (f"{(bound * 100).normalize():f}" for bound in (least, most))
                self.add_error("to", f"Give a share from {low} to {high} %.")
        return given

    def named(self) -> Named | None:
        """The change as it is asked about; None for an empty row."""
        kind, _, code = self.cleaned_data["of"].partition(":")
        share = self.cleaned_data["to"]
        if not kind:
            return None
        if kind == "rate":
            return Named(rate=RateKind(code), by=share)
        if kind in _SHARES:
            return Named(**{kind: share})
        return Named(**{kind: code, "by": share})

    def words(self) -> str:
        """The change in words: "Olive oil +30 %"."""
        named = dict(flat(choices(self.subjects)))
        percent = f"{(self.cleaned_data['to'] * 100).normalize():f} %"
        if self.kind in _SHARES:
            return f"{named[self.cleaned_data['of']]}: {percent}"
        sign = "+" if self.cleaned_data["to"] > 0 else ""
        return f"{named[self.cleaned_data['of']]} {sign}{percent}"


def choices(subjects: Subjects) -> list[tuple[str, Any]]:
    """What may change, in groups."""
    groups: list[tuple[str, Any]] = [
        ("Recipes", [(name, words) for name, (words, _, _) in _SHARES.items()]),
        ("Price of a material", [(f"material:{code}", name) for code, name in subjects.materials]),
        ("Price of an offer", [(f"offer:{code}", name) for code, name in subjects.offers]),
        ("Rates", [(f"rate:{kind}", words) for kind, words in RATES.items()]),
    ]
    return [group for group in groups if group[1]]


def flat(groups: list[tuple[str, Any]]) -> list[tuple[str, str]]:
    """Choices without their groups."""
    return [choice for _, rows in groups for choice in rows]


def change_rows(data: Mapping[str, Any] | None, subjects: Subjects) -> list[ChangeForm]:
    """The rows that are written in an address, and one more to write in."""
    written = [row for row in range(MOST_CHANGES) if data and data.get(f"c{row}-of")]
    count = min(max(SHOWN_AT_FIRST, (max(written) if written else 0) + 2), MOST_CHANGES)
    return [ChangeForm(data, prefix=f"c{row}", subjects=subjects) for row in range(count)]
