"""The studio's scales: what each shows and holds, adding one, changing one."""

from django import forms
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.models.scales.scales import Scale
from recipes.paper.amounts import step_text
from recipes.queries.scales.scales import scale_by_code
from recipes.services.scales.scales import save_scale
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.web.pages.forms import form_page, saved_by, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.row_forms import NamedRowForm, expected_of
from studio.web.pages.ruled import GET, page, who


class ScaleFilter(forms.Form):
    """What is looked for among the scales."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those no longer in use")


class ScaleForm(NamedRowForm):
    """All that is kept of a scale."""

    class Meta(NamedRowForm.Meta):
        model = Scale
        fields = described(Scale)


@page(Capability.READ, methods=GET)
def scale_list(request: HttpRequest) -> HttpResponse:
    """The scales, the finest first."""
    form = ScaleFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = Scale.objects.all()
    if not given.get("old"):
        found = found.filter(active=True)
    if text := given.get("q"):
        found = found.filter(Q(name__icontains=text) | Q(code__icontains=text))
    rows = list_page(request, found, order=("step", "id"), filters=form)
    shown = [(scale, step_text(scale.step)) for scale in rows.rows]
    return render(request, "recipes/scales/scales.html", {"rows": rows, "shown": shown})


@page(Capability.PLAN)
def scale_new(request: HttpRequest) -> HttpResponse:
    """Add a scale."""
    return _edit(request, None)


@page(Capability.PLAN)
def scale_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a scale, or say that it is no longer used. Batches keep the weights they have."""
    return _edit(request, scale_by_code(code))


def _edit(request: HttpRequest, kept: Scale | None) -> HttpResponse:
    form = ScaleForm(request.POST or None, instance=kept)
    saved = saved_by(
        request,
        form,
        lambda: save_scale(*form.given_row(), by=who(request), expected=expected_of(request)),
    )
    if saved is not None:
        return see_other(request, "scales-page")
    return form_page(request, "recipes/scales/edit.html", {"form": form, "scale": kept})
