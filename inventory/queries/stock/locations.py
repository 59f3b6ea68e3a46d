"""Places with what stands in them."""

from django.db.models import Count, Q, QuerySet

from inventory.models.stock.locations import Location
from studio.foundation.errors import NotFound


def locations_found(*, text: str = "", with_old: bool = False) -> QuerySet[Location]:
    """Places whose name or code holds the text, with how many lots stand there (`lots_there`)."""
    found = Location.objects.annotate(lots_there=Count("lots", filter=Q(lots__on_hand__gt=0)))
    if not with_old:
        found = found.filter(active=True)
    if text:
        found = found.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return found


def location_at(code: str) -> Location:
    """A place by its code, with its `lots_there`. One query. Raises NotFound."""
    found = locations_found(with_old=True).filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no location {code}.", field="location")
    return found


def places_to_count() -> list[tuple[str, str]]:
    """Places that are in use, or where something stands still: code and name. One query."""
    places = Location.objects.filter(Q(active=True) | Q(lots__on_hand__gt=0)).distinct()
    return list(places.order_by("name").values_list("code", "name"))
