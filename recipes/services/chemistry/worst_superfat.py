"""A superfat that may lie below zero at its worst: accepted once per version, by name.

`allow_worst` is the one gate of all that is reserved and poured. Lye burns: whoever shows what it
asks shows `recipes.domain.bench.cautions` beside it.
"""

from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.chemistry.worst import covers, floored, is_blank, needs_acceptance
from recipes.domain.formulas.formula import Notice
from recipes.errors import FormulaRefusal, WorstNotAccepted
from recipes.models.formulas.accepted import AcceptedWorst
from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.formulas.worst import lowest_accepted, worst_of
from studio.foundation.doers import By, doer
from studio.foundation.units.writing import percent


def allow_worst(
    version: FormulaVersion,
    safety: SafetyCheck | None,
    *,
    of: str,
    accept: Decimal | None = None,
    by: By = None,
) -> None:
    """Let what is made of a version pass, unless its worst superfat wants to be accepted first.

    `accept` is the figure (a share) that `by` accepts now, which is kept; None accepts nothing. In
    the caller's transaction; no query where the worst is zero or more, else one, and one that
    keeps. `of` names what is asked about. Raises WorstNotAccepted, also of a figure far below.
    """
    question = None if safety is None else still_to_accept(version.pk, safety, of=of)
    if safety is None or question is None:
        return
    message = question.message
    if accept is not None and is_blank(accept, safety.worst):
        message += f" {percent(accept)} is more than a point below that: accept what is asked."
    elif covers(accept, safety.worst):
        _keep(version, floored(safety.worst), by)
        return
    raise WorstNotAccepted(message, field=question.field, details=question.details)


def still_to_accept(version: int, safety: SafetyCheck, *, of: str) -> Notice | None:
    """What is asked about a version (id) before it is made, in words; None for nothing.

    The figure, what it comes from, and what to do. No query where the worst is zero or more.
    """
    if not needs_acceptance(safety.worst, None):
        return None
    accepted = lowest_accepted(version)
    if not needs_acceptance(safety.worst, accepted):
        return None
    figure = floored(safety.worst)
    before = "" if accepted is None else f" So far {percent(accepted)} is accepted of its recipe."
    return Notice(
        WorstNotAccepted.code,
        f"At its worst {of} has a superfat of {percent(safety.worst)}, so free lye could stay in"
        f" the soap and burn: {'; '.join(safety.unsure)}.{before} Enter what the certificates of"
        " its lots state, or write a version with more superfat; or accept"
        f" {percent(figure)} by name, once for this version.",
        "accept_worst",
        {"worst": str(figure)},
    )


@transaction.atomic
def accept_worst(version: FormulaVersion, figure: Decimal | None, *, by: By = None) -> None:
    """Accept the worst superfat of a version before a batch asks, by the values of its materials.

    `figure` is what was read: a share that is no higher than the worst, and no more than a point
    below it. What was accepted before stays, with its name. Raises WorstNotAccepted of another
    figure, and FormulaRefusal where there is nothing to accept: of a blend, and of what stays at
    zero or above.
    """
    # What is accepted is what the version says, which nobody writes anew meanwhile.
    locked = FormulaVersion.objects.select_for_update().get(pk=version.pk)
    safety = worst_of(load_formula(code=version.formula.code, number=locked.number))
    if safety is None:
        raise FormulaRefusal("A blend has no superfat to accept.", field="accept_worst")
    if not needs_acceptance(safety.worst, None):
        raise FormulaRefusal(
            f"There is nothing to accept: at its worst it has {percent(safety.worst)} superfat.",
            field="accept_worst",
        )
    named = f"version {locked.number} of {version.formula.name}"
    allow_worst(locked, safety, of=named, accept=figure, by=by)


def withdraw_accepted(version: FormulaVersion) -> None:
    """What was accepted of a version holds no more, since it is written anew. One query."""
    standing = AcceptedWorst.objects.filter(version=version, withdrawn_at__isnull=True)
    standing.update(withdrawn_at=timezone.now())


def _keep(version: FormulaVersion, worst: Decimal, by: By) -> None:
    # Of two at once the first stays, with its name.
    row = AcceptedWorst(version=version, worst=worst, by=by or doer())
    AcceptedWorst.objects.bulk_create([row], ignore_conflicts=True)
