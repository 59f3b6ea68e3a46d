"""Who asks."""

from typing import TYPE_CHECKING

from rest_framework.exceptions import NotAuthenticated
from rest_framework.request import Request

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def caller(request: Request) -> "User":
    """The account behind a request that changes something. Raises NotAuthenticated."""
    if request.user.is_anonymous:
        raise NotAuthenticated
    return request.user
