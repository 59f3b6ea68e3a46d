"""The pages of every list join to the whole."""

import pytest

from tests.inventory.api.calls import Caller
from tests.inventory.api.test_lists import LISTS, fill
from tests.kept import once_a_module

filled_once = once_a_module(lambda: fill(Caller("owner"), 0, 5))


@pytest.mark.parametrize("path", LISTS)
def test_pages_join_to_the_whole(owner, path):
    whole = owner.rows(path)
    address, joined = f"/api/v1/{path}?page_size=2", []
    while address:
        page = owner.client.get(address).json()
        joined += page["results"]
        address = page["next"]
    assert joined == whole and len(whole) >= 5
