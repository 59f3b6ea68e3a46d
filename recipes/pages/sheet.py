"""The batch sheet as a page: to read at the bench and to print, without a script."""

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from recipes.paper.labels import address
from recipes.paper.sheet import drawing_for, sheet_values
from recipes.services.sheets import sheet_of
from studio.errors import NotFound
from studio.paper.codes import qr_svg
from studio.roles import Capability, capabilities_of, role_of


@require_safe
@never_cache
def sheet_page(request: HttpRequest, code: str) -> HttpResponse:
    """The sheet of a batch for those who may read; sign-in first for everybody else."""
    able = capabilities_of(request.user)
    if Capability.SIGNED_IN not in able:
        return redirect_to_login(request.get_full_path())
    if Capability.READ not in able:
        raise PermissionDenied
    try:
        sheet = sheet_of(code)
    except NotFound as refusal:
        raise Http404 from refusal
    context = {
        "studio_name": settings.STUDIO_NAME,
        "role": role_of(request.user),
        "sheet": sheet_values(sheet),
        "drawing": drawing_for(sheet),
        "code": qr_svg(address(request.path)),
    }
    return render(request, "recipes/sheet.html", context)
