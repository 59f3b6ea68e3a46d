"""What every template of a page knows: the studio, the person, what they may, how they like it."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from studio.foundation.roles import Capability, capabilities_of, role_of
from studio.models import Preference
from studio.web.pages.places import places_for


def preferences_of(user: Any) -> Preference:
    """How this person likes to see things; what nobody chose is as the defaults say. One query."""
    if not getattr(user, "is_authenticated", False):
        return Preference()
    kept: Preference | None = getattr(user, "_studio_preferences", None)
    if kept is None:
        kept = Preference.objects.filter(user_id=user.pk).first() or Preference(user_id=user.pk)
        user._studio_preferences = kept
    return kept


def frame(request: HttpRequest) -> dict[str, Any]:
    """The context processor of all pages; costs nothing where it is not used."""
    user = getattr(request, "user", None)
    return {
        "studio_name": settings.STUDIO_NAME,
        "currency": settings.STUDIO_CURRENCY,
        "role": SimpleLazyObject(lambda: role_of(user)),
        "able": SimpleLazyObject(lambda: capabilities_of(user)),
        "may_see_costs": SimpleLazyObject(lambda: Capability.SEE_COSTS in capabilities_of(user)),
        "preferences": SimpleLazyObject(lambda: preferences_of(user)),
        "places": SimpleLazyObject(lambda: places_for(user, request.path)),
    }
