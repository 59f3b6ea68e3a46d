"""The demonstration, run once for all scenarios that look at it, and a studio without a row."""

import pytest

from tests.databases import Sqlite, make
from tests.scenarios.commands import manage


@pytest.fixture(scope="session")
def shown(tmp_path_factory):
    var = tmp_path_factory.mktemp("demo")
    first = manage(var, "demo", "--no-serve")
    assert first.returncode == 0, first.stderr + first.stdout
    return var, first.stdout


@pytest.fixture
def empty_studio(tmp_path, django_db_blocker):
    """The folder of a studio that has its tables and nothing in them."""
    with django_db_blocker.unblock():
        make(Sqlite(tmp_path))
    return tmp_path
