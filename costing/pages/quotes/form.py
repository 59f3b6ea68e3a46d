"""What is written of a quote: the customer, lines of products, discount, freight, days, terms."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import formset_factory

from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer, Quote
from costing.services.quotes.drafts import MOST_LINES, LineDescription, QuoteDescription
from recipes.domain.weighing import MOST_BARS
from studio.web.form_fields import DayFormField, MoneyFormField, ShareFormField
from studio.web.pages.forms import NewRows, filled


class NamedField(forms.CharField):
    """Something that people call by its name or its code; cleans to the code."""

    def __init__(self, *, of: str, **kwargs: Any) -> None:
        super().__init__(max_length=160, **kwargs)
        self.of = of
        self.names: Mapping[str, str] = {}
        self.widget.attrs.update({"list": f"{of}s", "autocomplete": "off"})

    def clean(self, value: Any) -> str:
        text = str(super().clean(value) or "")
        if not text or text in self.names:
            return text
        found = [code for code, name in self.names.items() if name.casefold() == text.casefold()]
        if not found:
            raise ValidationError(f"There is no {self.of} of that name.", code="not-found")
        if len(found) > 1:
            codes = ", ".join(found)
            raise ValidationError(f"More than one has that name: write {codes}.", code="several")
        return found[0]


def called(names: Mapping[str, str], code: str) -> str:
    """How people call it: the name, or the code where another one has the same name."""
    name = names.get(code, code)
    return name if list(names.values()).count(name) == 1 else code


class QuoteForm(forms.Form):
    """The head of a quote. What is left empty follows from the customer."""

    customer = NamedField(of="customer", help_text="By name or code.")
    wanted_on = DayFormField(required=False, label="Wanted by", help_text="Empty: any day.")
    valid_until = DayFormField(required=False, label="Valid until", help_text="Empty: for 30 days.")
    discount = ShareFormField(required=False, help_text="Empty: the customer's.")
    freight = MoneyFormField(required=False, help_text="Empty: none.")
    tax_share = ShareFormField(required=False, label="Tax", help_text="Empty: the tier's.")
    terms = forms.CharField(
        required=False, max_length=400, help_text="Empty: the customer's terms of payment."
    )
    note = forms.CharField(
        required=False,
        max_length=2000,
        label="Words for the letter",
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class LineForm(forms.Form):
    """Bars of a product."""

    product = NamedField(of="product", required=False)
    quantity = forms.IntegerField(required=False, min_value=1, max_value=MOST_BARS, label="Bars")
    price = MoneyFormField(required=False, label="Own price")
    bars_per_carton = forms.IntegerField(
        required=False, min_value=1, max_value=MOST_BARS, label="Per carton"
    )

    def __init__(self, *args: Any, products: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["product"].names = products  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """A row that says anything names a product and how many bars; an empty one is no line."""
        given = super().clean() or {}
        for name, words in (("product", "Which product?"), ("quantity", "How many bars?")):
            if not given.get(name) and name not in self.errors:
                self.add_error(name, words)
        return given


LINES = formset_factory(
    LineForm,
    formset=NewRows,
    extra=2,
    max_num=MOST_LINES,
    absolute_max=MOST_LINES + 20,
    validate_max=True,
)


class WrittenQuote:
    """All that stands on the page of a quote that is being written."""

    def __init__(
        self, posted: Any = None, *, quote: Quote | None = None, customer: str = ""
    ) -> None:
        self.customers = dict(
            Customer.objects.filter(active=True).order_by("name").values_list("code", "name")
        )
        self.products = dict(
            Product.objects.filter(active=True).order_by("name").values_list("code", "name")
        )
        head: dict[str, Any]
        lines: list[dict[str, Any]]
        head, lines = ({"customer": customer}, []) if quote is None else _kept(quote)
        head["customer"] = called(self.customers, head["customer"])
        for line in lines:
            line["product"] = called(self.products, line["product"])
        self.head = QuoteForm(posted, initial=head)
        self.head.fields["customer"].names = self.customers  # type: ignore[attr-defined]
        self.lines = LINES(
            posted,
            initial=None if posted else lines,
            prefix="lines",
            form_kwargs={"products": self.products},
        )

    def is_valid(self) -> bool:
        """Whether all of it can be read."""
        return all([self.head.is_valid(), self.lines.is_valid()])

    def described(self) -> QuoteDescription:
        """As the service takes it; once it is valid."""
        given = dict(self.head.cleaned_data)
        return QuoteDescription(
            **{**given, "freight": given["freight"] or 0, "terms": given["terms"] or None},
            lines=[LineDescription(**line) for line in filled(self.lines)],
        )


def _kept(quote: Quote) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What was written of a draft: its head and its lines."""
    names = ("wanted_on", "valid_until", "discount", "freight", "tax_share", "terms", "note")
    head = {name: getattr(quote, name) for name in names}
    lines = [
        {
            "product": line.product.code,
            "quantity": line.quantity,
            "price": line.own_price,
            "bars_per_carton": line.own_carton,
        }
        for line in quote.lines.all()
    ]
    return {**head, "customer": quote.customer.code}, lines
