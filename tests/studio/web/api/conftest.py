"""Every test of the frame sees the sample endpoints beside the real ones."""

import pytest
from django.core.cache import cache


@pytest.fixture(autouse=True)
def _sample_addresses(settings):
    settings.ROOT_URLCONF = "tests.studio.web.api.sample_urls"
    cache.clear()  # counted tries of sign-in
