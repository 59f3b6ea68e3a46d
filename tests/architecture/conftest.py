"""What the tests of the architecture share."""

from collections.abc import Iterator

import pytest

from tests.architecture.tree import source_at


@pytest.fixture(autouse=True, scope="package")
def _forget_sources() -> Iterator[None]:
    """The parsed files are many: whatever is tested next would be slowed down by them."""
    yield
    source_at.cache_clear()
