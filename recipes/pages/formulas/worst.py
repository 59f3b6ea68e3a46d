"""How low the superfat of a version may be, who accepted it, and the button that accepts it."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from recipes.domain.bench.cautions import Caution, cautions_for
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.chemistry.worst import floored, needs_acceptance
from recipes.models.formulas.accepted import AcceptedWorst
from recipes.queries.formulas.formulas import LoadedFormula, version_by_number
from recipes.queries.formulas.worst import accepted_of, worst_of
from recipes.services.chemistry.worst_superfat import accept_worst
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import see_other
from studio.web.pages.ruled import page, who


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownWorst:
    """The worst superfat of a version by the values of its materials, and what was accepted.

    `safety` is None where it cannot be scaled; `figure` is what there is to accept, None where
    nobody has to.
    """

    safety: SafetyCheck | None
    figure: Decimal | None
    accepted: Sequence[AcceptedWorst]
    cautions: Sequence[Caution]


def worst_shown(loaded: LoadedFormula) -> ShownWorst | None:
    """The same of a version that is loaded; None of a blend. One query."""
    if loaded.soap is None:
        return None
    accepted = accepted_of(loaded.version.pk)
    lowest = min((one.worst for one in accepted if one.withdrawn_at is None), default=None)
    safety = None
    with suppress(Refusal):  # the page of the scale says why
        safety = worst_of(loaded)
    asks = safety is not None and needs_acceptance(safety.worst, lowest)
    return ShownWorst(
        safety=safety,
        figure=floored(safety.worst) if safety is not None and asks else None,
        accepted=accepted,
        cautions=cautions_for(masterbatch=loaded.version.masterbatch_id is not None),
    )


@page(Capability.PLAN, methods=("POST",))
def accept_worst_page(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Accept by name the figure that the page of the version showed."""
    version = version_by_number(code, number)
    try:
        accept_worst(version, _figure(request.POST.get("accept_worst", "")), by=who(request))
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        words = "batches ask again only where they may be lower"
        messages.success(request, f"Accepted by your name for version {number}: {words}.")
    return see_other(request, "recipe-page", code, query={"version": str(number)})


def _figure(text: str) -> Decimal | None:
    """The figure that was sent; None for none, and for what is no share."""
    with suppress(InvalidOperation):
        figure = Decimal(text)
        return figure if figure.is_finite() and -1 <= figure <= 0 else None
    return None
