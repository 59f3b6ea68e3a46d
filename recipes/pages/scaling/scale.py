"""The scale page: a recipe at the size of a mold, or at any size, and one button to plan it."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from recipes.domain.weighing import MOST_BARS
from recipes.errors import RecipeRefusal
from recipes.models.molds.molds import Mold
from recipes.pages.bench.worst import AcceptsWorst, asking_worst
from recipes.pages.scaling.shown_plan import ShownPlan, show_plan
from recipes.queries.formulas.formulas import LoadedFormula, load_formula
from recipes.queries.molds.molds import active_molds
from recipes.queries.scaling.plans import Plan, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.shelf import check_shelf
from recipes.services.scaling.planning import Asked, plan_batch, wish_from
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import length_nm, mass_ng, volume_nl
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import DayFormField, QuantityFormField
from studio.web.pages.forms import faults_on, place_faults, see_other
from studio.web.pages.ruled import GET, page

SIZES = [
    ("mold", "Fill a mold"),
    ("fats", "Weight of fats"),
    ("batter", "Weight of batter"),
    ("volume", "Fill a volume"),
    ("bars", "Number of bars"),
]
BLEND_SIZES = [("batter", "Weight")]
#: Name of a fault's field in the rules -> field of the form.
NAMES = {
    "fill_height": "fill_height",
    "target.fill_height": "fill_height",
    "fill_height_nm": "fill_height",
    "poured_weight_ng": "poured_weight",
    "fats_ng": "amount",
    "batter_ng": "amount",
    "volume_nl": "amount",
}


class ScaleForm(AcceptsWorst):
    """A target for a recipe. Only the fields that its kind of size asks for are read."""

    size = forms.ChoiceField(label="Scale to", widget=forms.RadioSelect)
    mold = forms.ChoiceField(required=False)
    fill_height = QuantityFormField(
        dimensions=[Dimension.LENGTH],
        stored=length_nm,
        required=False,
        label="Fill height",
        help_text="Where the mold is not filled to its usual line: 2 1/2 in, 60 mm.",
    )
    amount = forms.CharField(
        required=False,
        max_length=64,
        label="How much",
        help_text="With its unit: 1.5 kg, 3 lb 4 oz, 1200 mL.",
    )
    bars = forms.IntegerField(
        required=False, min_value=1, max_value=MOST_BARS, label="How many bars"
    )
    poured_weight = QuantityFormField(
        dimensions=[Dimension.MASS],
        stored=mass_ng,
        required=False,
        label="Weight of a bar as poured",
    )
    version = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    on = DayFormField(required=False, label="Day it is made")

    def __init__(self, *args: Any, molds: Sequence[Mold], is_soap: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.molds = {mold.code: mold for mold in molds}
        self.fields["size"].choices = SIZES if is_soap else BLEND_SIZES  # type: ignore[attr-defined]
        self.fields["mold"].choices = [  # type: ignore[attr-defined]
            ("", "Choose a mold"),
            *((mold.code, mold.name) for mold in molds),
        ]

    @property
    def is_empty(self) -> bool:
        """Whether nothing has been asked yet."""
        return not any(self.data.get(name) for name in ("mold", "amount", "bars", "poured_weight"))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        self.asked = self._asked(given)
        given["on"] = given.get("on") or timezone.localdate()
        return given

    def _asked(self, given: dict[str, Any]) -> Asked | None:
        size = given.get("size")
        if size == "mold":
            if not given.get("mold"):
                self._wants("mold", "Choose a mold, or scale to a size.")
                return None
            return Asked(mold=given["mold"], fill_height_nm=given.get("fill_height"))
        if size == "bars":
            for name in ("bars", "poured_weight"):
                if given.get(name) is None and name not in self.errors:
                    self._wants(name, "Say how many bars, and how much is poured for each.")
            return Asked(bars=given.get("bars"), poured_weight_ng=given.get("poured_weight"))
        return self._amount(str(size), given)

    def _amount(self, size: str, given: dict[str, Any]) -> Asked | None:
        is_volume = size == "volume"
        read = QuantityFormField(
            dimensions=[Dimension.VOLUME if is_volume else Dimension.MASS],
            stored=volume_nl if is_volume else mass_ng,
            error_messages={"required": "Write how much, with its unit, such as 1.5 kg."},
        )
        try:
            amount = read.clean(given.get("amount"))
        except forms.ValidationError as error:
            self.add_error("amount", error)
            return None
        bars = given.get("bars")
        if is_volume:
            return Asked(volume_nl=amount, bars=bars)
        return (
            Asked(fats_ng=amount, bars=bars)
            if size == "fats"
            else Asked(batter_ng=amount, bars=bars)
        )

    def _wants(self, name: str, message: str) -> None:
        self.add_error(name, forms.ValidationError(message, code="required"))


@page((Capability.READ, Capability.COMPUTE), methods=GET)
def scale_page(request: HttpRequest, code: str) -> HttpResponse:
    """The weights of a recipe at a size, and the shelf's answer; the address holds all asked."""
    loaded, form = _asked(request, code, request.GET)
    made = None
    if not form.is_empty and form.is_valid():
        made = _planned(loaded, form)
    shown = _shown(made, form) if made else None
    return _answer(request, loaded, form, shown)


@page(Capability.PLAN, methods=("POST",), once=True)
def plan_page(request: HttpRequest, code: str) -> HttpResponse:
    """Plan the batch that the scale page shows, and hold what it needs, all or nothing."""
    loaded, form = _asked(request, code, request.POST)
    plan = _planned(loaded, form) if form.is_valid() else None
    if plan is None:
        return _answer(request, loaded, form, None, status=422)
    by: Any = request.user
    reserving = request.POST.get("then") != "plan"
    with faults_on(form), asking_worst(form):
        batch = plan_batch(plan, planned_on=form.cleaned_data["on"], by=by)
        if reserving:
            reserve_batch(batch.code, accept_worst=form.cleaned_data["accept_worst"], by=by)
        done = "planned, and what it needs is held for it" if reserving else "planned"
        messages.success(request, f"Batch {batch.code} is {done}.")
        return see_other(request, "batch-page", batch.code)
    return _answer(request, loaded, form, _shown(plan, form), status=422)


def _asked(request: HttpRequest, code: str, given: Any) -> tuple[LoadedFormula, ScaleForm]:
    number = given.get("version", "")
    loaded = load_formula(code=code, number=int(number) if _is_number(number) else None)
    is_soap = loaded.soap is not None
    data = given.copy()
    data.setdefault("size", "mold" if is_soap else "batter")
    data.setdefault("on", timezone.localdate().isoformat())
    return loaded, ScaleForm(data, molds=active_molds() if is_soap else [], is_soap=is_soap)


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 10


def _planned(loaded: LoadedFormula, form: ScaleForm) -> Plan | None:
    """The plan that is asked for; None when it is refused, and the form then says why."""
    assert form.asked is not None
    try:
        return make_plan(loaded, wish_from(form.asked))
    except Refusal as refusal:
        place_faults(refusal, form, names=NAMES)
        form.is_unsafe = isinstance(refusal, RecipeRefusal)  # type: ignore[attr-defined]
        return None


def _shown(plan: Plan, form: ScaleForm) -> ShownPlan:
    on = form.cleaned_data["on"]
    return show_plan(plan, check_shelf(plan.needs, plan.materials, on=on), on=on)


def _answer(
    request: HttpRequest,
    loaded: LoadedFormula,
    form: ScaleForm,
    shown: ShownPlan | None,
    *,
    status: int = 200,
) -> HttpResponse:
    context = {
        "recipe": loaded.version.formula,
        "version": loaded.version,
        "form": form,
        "shown": shown,
        "asked": form.data.urlencode() if shown and hasattr(form.data, "urlencode") else "",
    }
    return render(request, "recipes/scaling/scale.html", context, status=status)
