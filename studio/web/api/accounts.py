"""Sign-in of programs and what an account may do."""

from collections.abc import Mapping
from typing import Any, ClassVar

from django.contrib.auth import authenticate
from knox.models import AuthToken
from rest_framework import exceptions, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from studio.foundation.roles import Capability, capabilities_of, may_see_costs, role_of
from studio.web.api.serializers import StrictSerializer
from studio.web.api.throttling import SIGN_IN
from studio.web.api.views import StudioView
from studio.web.permissions import Rule


class SignInSerializer(StrictSerializer):
    """Name and password of an account."""

    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=1000, trim_whitespace=False)


class TokenSerializer(StrictSerializer):
    """A new token: shown once, since only its digest is kept."""

    token = serializers.CharField(read_only=True)
    expiry = serializers.DateTimeField(read_only=True)


class MeSerializer(StrictSerializer):
    """The account that asks, and what it may do."""

    username = serializers.CharField(read_only=True)
    role = serializers.CharField(read_only=True, allow_null=True)
    may_see_costs = serializers.BooleanField(read_only=True)
    capabilities = serializers.ListField(child=serializers.CharField(), read_only=True)


class TokenView(StudioView):
    """POST a name and password for a token; DELETE signs out the token that is used."""

    rules: ClassVar[Mapping[str, Rule]] = {
        "post": Capability.ANYONE,
        "delete": Capability.SIGNED_IN,
    }
    given_serializer = SignInSerializer
    answer_serializer = TokenSerializer
    serializer_class = SignInSerializer
    statuses = {"post": 201}
    throttle_classes = SIGN_IN

    def get_authenticators(self) -> list[Any]:
        # An expired token, still sent along, must not keep anyone from signing in again.
        signs_in = self.request is not None and self.request.method == "POST"
        return [] if signs_in else super().get_authenticators()

    def get_authenticate_header(self, request: Request) -> str:
        return "Token"

    def get_throttles(self) -> list[Any]:
        return super().get_throttles() if self.request.method == "POST" else []

    def post(self, request: Request) -> Response:
        """Sign in: the answer holds a token for `Authorization: Token ...`."""
        given = self.read(request)
        user = authenticate(request, **given)
        if user is None:
            raise exceptions.AuthenticationFailed("The name or the password is wrong.")
        row, token = AuthToken.objects.create(user=user)
        shown = self.answer_serializer({"token": token, "expiry": row.expiry}).data
        return Response(shown, status=201)

    def delete(self, request: Request) -> Response:
        """Sign out: the token of this request is no longer good."""
        if not isinstance(request.auth, AuthToken):
            raise exceptions.ValidationError("This session has no token: sign out on the page.")
        request.auth.delete()
        return Response(status=204)


class TokensView(StudioView):
    """All tokens of an account."""

    rules: ClassVar[Mapping[str, Rule]] = {"delete": Capability.SIGNED_IN}
    serializer_class = TokenSerializer

    def delete(self, request: Request) -> Response:
        """Sign out everywhere: none of the account's tokens is good any more."""
        AuthToken.objects.filter(user=request.user).delete()
        return Response(status=204)


class MeView(StudioView):
    """Who am I, and what may I do?"""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.SIGNED_IN}
    answer_serializer = MeSerializer
    serializer_class = MeSerializer

    def get(self, request: Request) -> Response:
        """The account of this request, its role and its capabilities."""
        shown = {
            "username": request.user.get_username(),
            "role": role_of(request.user),
            "may_see_costs": may_see_costs(request.user),
            "capabilities": sorted(capabilities_of(request.user)),
        }
        return Response(self.answer_serializer(shown).data)
