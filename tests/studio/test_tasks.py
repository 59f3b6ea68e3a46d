"""What the studio does in the background, by a real worker."""

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone

from studio.models import IdempotencyRecord
from studio.tasks import forget_old_keys


@pytest.mark.worker
def test_keys_that_are_too_old_are_forgotten(live_worker):
    user = get_user_model().objects.create_user("keeper")
    for key, days in (("old", 9), ("new", 1)):
        record = IdempotencyRecord.objects.create(
            user=user, key=key, method="POST", path="/", body_digest=key, status=201, body=b""
        )
        IdempotencyRecord.objects.filter(pk=record.pk).update(
            created_at=timezone.now() - timedelta(days=days)
        )
    forget_old_keys.delay()
    live_worker.wait_until(
        lambda: list(IdempotencyRecord.objects.values_list("key", flat=True)) == ["new"],
        what="the old key is forgotten and the new one kept",
    )
