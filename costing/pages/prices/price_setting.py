"""Set a price from a day on; one under its floor is refused beside its field."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from costing.errors import PriceUnderFloor
from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.pages.dated import LOOK, SET
from costing.pages.prices.prices import money_input, show_ladder
from costing.queries.prices.price_ladder import price_ladder
from costing.queries.prices.prices import restoring_for
from costing.services.prices.prices import MOST_QUANTITY, PriceDescription, put_price
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.histories import kept_rows
from studio.foundation.local_words import written_money
from studio.foundation.roles import Role, role_of
from studio.web.form_fields import DayFormField, MoneyFormField
from studio.web.pages.forms import form_page, place_faults, see_other
from studio.web.pages.histories import history_page
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page, who


class PriceForm(forms.Form):
    """A price by the bar, as its tier writes prices."""

    tier = forms.ChoiceField(label="Tier")
    from_quantity = forms.IntegerField(
        min_value=1, max_value=MOST_QUANTITY, initial=1, label="From so many bars on"
    )
    price = MoneyFormField(label="Price of a bar")
    effective_from = DayFormField(label="From the day")
    floor = MoneyFormField(
        required=False,
        label="A floor of its own",
        help_text="In place of the one that the cost and the tier's floor margin give.",
    )
    override_reason = forms.CharField(
        required=False,
        max_length=400,
        label="Why it is sold under its floor",
        help_text="An owner may keep such a price; the reason is kept with it.",
    )

    def __init__(self, *args: Any, tiers: "list[Tier]", is_owner: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["tier"].choices = [(t.code, t.name) for t in tiers]  # type: ignore[attr-defined]
        if not is_owner:
            del self.fields["override_reason"]


@page(SET)
def price_set(request: HttpRequest, code: str) -> HttpResponse:
    """A new price of a product, or the correction of one that starts on that day."""
    product = product_by_code(code)
    tiers = list(Tier.objects.filter(active=True))
    form = PriceForm(
        _given(request),
        tiers=tiers,
        is_owner=role_of(request.user) is Role.OWNER,
        initial={
            "effective_from": timezone.localdate(),
            "tier": request.GET.get("tier"),
            "from_quantity": request.GET.get("from", 1),
            "price": _suggested(request),
        },
    )
    restoring = None
    if request.method == "POST" and form.is_valid():
        try:
            entry = _keep(request, product, form.cleaned_data)
        except PriceUnderFloor:
            restoring = _under_floor(form, product, tiers)
        except Refusal as refusal:
            place_faults(refusal, form)
        else:
            messages.success(request, _told(entry))
            return see_other(request, "product-page", code)
    context = {
        "product": product,
        "form": form,
        "tiers": tiers,
        "restoring": None if restoring is None else money_input(restoring),
        "ladder": show_ladder(price_ladder(code, on=timezone.localdate())),
    }
    return form_page(request, "costing/prices/price_set.html", context)


@page(LOOK, methods=GET)
def price_history_page(request: HttpRequest, code: str) -> HttpResponse:
    """What was changed of the prices of a product."""
    product = product_by_code(code)
    rows = kept_rows(PriceEntry, product_id=product.pk)
    back = page_address("product-page", code)
    of = f"Prices of {product.name}"
    return history_page(request, rows, of=of, back=back, which=_which)


def _which(row: Any) -> str:
    """The price that a row of the history is of."""
    many = f" from {row.from_quantity:,} bars" if row.from_quantity > 1 else ""
    return f"{row.tier.name}{many}, since {row.effective_from}"


def product_by_code(code: str) -> Product:
    """A product with its recipe, mold and packaging set. One query. Raises NotFound."""
    rows = Product.objects.select_related("formula", "mold", "packaging_set")
    product = rows.filter(code=code).first()
    if product is None:
        raise NotFound(f"There is no product {code}.", field="product")
    return product


def _given(request: HttpRequest) -> Any:
    """What was sent; the button that asks the restoring price puts it into the price."""
    if request.method != "POST":
        return None
    data = request.POST.copy()
    asked = data.get("ask")
    if isinstance(asked, str) and asked:
        data["price"] = asked
    return data


def _suggested(request: HttpRequest) -> int | None:
    """A price that the address suggests, in ten-thousandths."""
    given = request.GET.get("price", "")
    return int(given) if given.isascii() and given.isdecimal() and len(given) < 16 else None


def _keep(request: HttpRequest, product: Product, given: dict[str, Any]) -> PriceEntry:
    described = PriceDescription(
        product=product.code,
        tier=given["tier"],
        from_quantity=given["from_quantity"],
        price=given["price"],
        floor=given["floor"],
        effective_from=given["effective_from"],
    )
    return put_price(
        described,
        on=timezone.localdate(),
        override_reason=given.get("override_reason", ""),
        by=who(request),
    )


def _under_floor(form: PriceForm, product: Product, tiers: "list[Tier]") -> int | None:
    """Say beside the price what would restore it; returns that."""
    given = form.cleaned_data
    tier = next(each for each in tiers if each.code == given["tier"])
    found = restoring_for(
        product,
        tier,
        quantity=given["from_quantity"],
        own_floor=given["floor"],
        on=given["effective_from"],
    )
    asked = "" if found is None else f" Ask {written_money(found)} or more."
    form.add_error("price", f"That is under the floor of this tier.{asked}")
    return found


def _told(entry: PriceEntry) -> str:
    price = written_money(entry.price)
    steps = "" if entry.from_quantity == 1 else f" from {entry.from_quantity} bars on"
    return f"{entry.tier.name} asks {price}{steps}, from {entry.effective_from.isoformat()}."
