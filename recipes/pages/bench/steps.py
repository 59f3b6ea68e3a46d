"""What is said where a batch is not at the step that a page is for."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.models.bench.batches import Batch, BatchState

#: By the state a batch is in: what there is to say, the page that is next, and its verb.
_NEXT = {
    BatchState.PLANNED: ("It is planned only: reserve what it needs first.", "batch-page", "Look"),
    BatchState.RESERVED: ("It is not poured yet.", "bench-page", "Weigh and pour"),
    BatchState.POURED: ("It is in its mold.", "cut-page", "Cut"),
    BatchState.CUT: ("It is cut, and its bars cure.", "cure-page", "Look at the cure"),
    BatchState.CURED: ("It is done.", "batch-page", "Look"),
    BatchState.CANCELLED: ("It was called off.", "batch-page", "Look"),
}


def another_step(request: HttpRequest, batch: Batch, *, step: str) -> HttpResponse:
    """Say where a batch stands and what comes next; nothing is changed. 409 for a POST."""
    words, name, verb = _NEXT[BatchState(batch.state)]
    context = {"batch": batch, "step": step, "words": words, "next": name, "verb": verb}
    status = 409 if request.method == "POST" else 200
    return render(request, "recipes/bench/another_step.html", context, status=status)
