"""What cannot be asked of what-if is told beside its field; the studio is made once."""

import pytest

from tests.costing.api.what_if.test_what_if import ask
from tests.costing.queries.what_if.test_what_if import a_bench
from tests.kept import once_a_module
from tests.studio.web.api.people import client_as

pytestmark = pytest.mark.django_db
bench_once = once_a_module(a_bench)


@pytest.fixture
def owner():
    return client_as("owner")


@pytest.mark.parametrize(
    ("change", "field", "told"),
    [
        ({}, "changes.0", "Say what changes"),
        ({"material": "olive"}, "changes.0.by", "Say how it changes"),
        ({"material": "olive", "by": "1", "price": "3"}, "changes.0.by", "by one of"),
        ({"material": "olive", "price": "3"}, "changes.0.per", "for how much"),
        (
            {"offer": "mill-olive", "by": "1", "formulas": ["plain"]},
            "changes.0.formulas",
            "nothing",
        ),
        ({"material": "olive", "offer": "mill-olive", "by": "1"}, "changes.0.offer", "nothing"),
        ({"superfat": "0.31"}, "changes.0.superfat", "at most 0.3"),
        ({"lye_concentration": "0.6"}, "changes.0.lye_concentration", "at most"),
        ({"good_bars": "0"}, "changes.0.good_bars", "at least"),
        ({"rate": "labor_hour", "amount": "2000000"}, "changes.0.amount", "at most"),
        ({"material": "gold", "by": "1"}, "changes.0.material", "no material gold"),
    ],
)
def test_bad_input_is_refused_where_it_stands(owner, change, field, told):
    answer = ask(owner, change)
    assert answer.status_code in (400, 422), answer.json()
    faults = {fault["field"]: fault["detail"] for fault in answer.json()["errors"]}
    assert told in faults[field]
