"""The studio's scales."""

from recipes.models.scales.scales import Scale
from recipes.services.scales.scales import save_scale
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.web.api.lists.filtering import Filters, YesNoFilter
from studio.web.api.serializers import StrictModelSerializer
from studio.web.api.viewsets import DescribedViewSet, master_rules


class ScaleSerializer(StrictModelSerializer[Scale]):
    """A scale: the step that it shows, and the most that it holds."""

    class Meta:
        model = Scale
        fields = (*described(Scale), "revision", "changed_by")
        read_only_fields = ("revision", "changed_by")


class ScaleFilters(Filters):
    """Scales."""

    active = YesNoFilter()


class ScaleViewSet(DescribedViewSet):
    """What is weighed on. Each line of a plan is weighed on the finest scale that holds it."""

    queryset = Scale.objects.order_by("code")
    serializer_class = ScaleSerializer
    filterset_class = ScaleFilters
    ordering = ("code",)
    rules = master_rules(Capability.PLAN)
    service = save_scale
