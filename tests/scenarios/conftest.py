"""The demonstration, run once for all scenarios that look at it."""

import pytest

from tests.scenarios.commands import manage


@pytest.fixture(scope="session")
def shown(tmp_path_factory):
    var = tmp_path_factory.mktemp("demo")
    first = manage(var, "demo", "--no-serve")
    assert first.returncode == 0, first.stderr + first.stdout
    return var, first.stdout
