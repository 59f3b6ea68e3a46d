"""Reorder policies: suggested from demand and lead times, adopted when somebody agrees."""

from functools import partial
from typing import Any, ClassVar

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.buying.policy_answers import PolicySerializer, PolicySettingsSerializer
from inventory.api.filters import MaterialFilter
from inventory.models.buying.policies import PolicySettings
from inventory.models.catalog.materials import Material
from inventory.queries.buying.policies import suggested_policies
from inventory.services.buying.policy import adopt_policy, change_aims, policy_of, settings_of
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.concurrency import read_if_match, require_match, set_etag
from studio.web.api.verbs import look, verb
from studio.web.api.views import StudioView
from studio.web.api.viewsets import ReadOnlyStudioViewSet


class PolicyViewSet(ReadOnlyStudioViewSet):
    """What each material's reorder point and order-up-to level could be, and the numbers behind.

    The ETag is that of the material: adopting changes it.
    """

    queryset = Material.objects.filter(active=True).order_by("code")
    serializer_class = PolicySerializer
    filterset_class = MaterialFilter
    ordering = ("code",)
    rules: ClassVar = {"change_aims": Capability.KEEP_STOCK}
    given_serializers: ClassVar = {"change_aims": PolicySettingsSerializer}
    answer_serializers: ClassVar = {"change_aims": PolicySettingsSerializer}

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset())) or []
        wanted = Material.objects.filter(pk__in=[material.pk for material in page])
        shown = suggested_policies(on=timezone.localdate(), materials=wanted) if page else []
        return self.get_paginated_response(self.get_serializer(shown, many=True).data)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(policy_of(self.get_object().code))

    @verb(Capability.KEEP_STOCK)
    def adopt(self, request: Request, code: str) -> Any:
        """Make the suggested reorder point and level the material's own."""
        if_match = read_if_match(request)
        require_match(if_match, self.locked_object())
        adopt_policy(code, by=caller(request))
        return policy_of(code)

    adopt.needs_match = True

    @look(Capability.READ, answer=PolicySettingsSerializer)
    def aims(self, request: Request, code: str) -> Any:
        """What is aimed at for this material apart from the studio's aims."""
        return settings_of(self.get_object())

    @aims.mapping.patch  # type: ignore[untyped-decorator]
    def change_aims(self, request: Request, code: str) -> Response:
        """Aim at something else for this material; null is the studio's own aim again."""
        return self.answer(_change(self.get_object(), request, self))

    change_aims.needs_match = True


class StudioAimsView(StudioView):
    """What the studio aims at for materials that have no aims of their own."""

    serializer_class = PolicySettingsSerializer
    rules: ClassVar = {"get": Capability.READ, "patch": Capability.SETTLE}

    def get(self, request: Request) -> Response:
        return self._answer(settings_of(None))

    def patch(self, request: Request) -> Response:
        return self._answer(_change(None, request, self))

    patch.needs_match = True  # type: ignore[attr-defined]

    def _answer(self, row: PolicySettings) -> Response:
        response = Response(self.get_serializer(row).data)
        set_etag(response, row)
        return response


def _change(material: Material | None, request: Request, view: StudioView) -> PolicySettings:
    """Read the changes of aims and keep them. Raises Stale, ValidationError, MaterialRefusal."""
    if_match = read_if_match(request)
    serializer: serializers.BaseSerializer[Any] = PolicySettingsSerializer(
        data=request.data, partial=True, context=view.get_serializer_context()
    )
    serializer.is_valid(raise_exception=True)
    return change_aims(
        material, serializer.validated_data, unchanged=partial(require_match, if_match)
    )
