"""The batch sheet as a page: to read at the bench and to print, without a script."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.paper.labels import address
from recipes.paper.sheet import drawing_for, sheet_values
from recipes.services.bench.sheets import sheet_of
from studio.foundation.paper.codes import qr_svg
from studio.foundation.roles import Capability
from studio.web.pages.ruled import page


@page(Capability.READ, methods=("GET", "HEAD"))
def sheet_page(request: HttpRequest, code: str) -> HttpResponse:
    """The sheet of a batch, as the PDF has it."""
    sheet = sheet_of(code)
    context = {
        "sheet": sheet_values(sheet),
        "drawing": drawing_for(sheet),
        "code": qr_svg(address(request.path)),
    }
    return render(request, "recipes/bench/sheet.html", context)
