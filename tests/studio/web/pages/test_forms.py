"""What is refused stands beside its field; what changes stock is done once."""

import pytest
from django import forms
from django.contrib.auth import get_user_model
from django.http import HttpResponse
from django.test import RequestFactory

from studio.foundation.errors import Fault, InvalidInput
from studio.models import ChangedMeanwhile, IdempotencyRecord, Numbering
from studio.web.pages.forms import (
    filled,
    form_page,
    place_faults,
    see_other,
    unchanged_since,
)
from studio.web.pages.stock_pages import stock_page
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


class Head(forms.Form):
    supplier = forms.CharField()


class Line(forms.Form):
    quantity = forms.CharField()


Lines = forms.formset_factory(Line, extra=4)


def sent(**lines):
    given = {"lines-TOTAL_FORMS": "4", "lines-INITIAL_FORMS": "0"}
    given |= {f"lines-{number}-quantity": text for number, text in lines.items()}
    rows = Lines(given, prefix="lines")
    head = Head({"supplier": "s"})
    assert head.is_valid() and rows.is_valid()
    return head, rows


def test_faults_find_their_fields_also_over_rows_left_empty():
    head, rows = sent(**{"0": "1 kg", "3": "2 kg"})  # rows 1 and 2 stay empty
    assert [line["quantity"] for line in filled(rows)] == ["1 kg", "2 kg"]
    refusal = InvalidInput(
        faults=[
            Fault("a", "Unknown.", "supplier_code"),
            Fault("b", "Too much.", "lines.1.amount"),
            Fault("c", "No more than nine lines.", "lines"),
            Fault("d", "Closed.", ""),
            Fault("e", "Which line?", "lines.7.amount"),
        ]
    )
    place_faults(
        refusal,
        head,
        rows={"lines": rows},
        names={"supplier_code": "supplier", "amount": "quantity"},
    )
    assert head.errors["supplier"] == ["Unknown."]
    assert rows.forms[3].errors["quantity"] == ["Too much."]
    assert not rows.forms[1].errors
    assert head.non_field_errors() == ["No more than nine lines.", "Closed.", "Which line?"]
    assert head["supplier"].value() == "s" and rows.forms[3]["quantity"].value() == "2 kg"


def test_a_revision_that_is_not_the_rows_own_is_refused():
    row = Numbering(prefix="x")
    row.revision = 3
    unchanged_since(RequestFactory().post("/", {"revision": "3"}))(row)
    for given in ({"revision": "2"}, {}):
        with pytest.raises(ChangedMeanwhile):
            unchanged_since(RequestFactory().post("/", given))(row)


@stock_page
def weigh(request):
    if request.method == "POST":
        Numbering.objects.create(prefix=request.POST["prefix"])
        if "bad" in request.POST:
            return form_page(request, "studio/parts/_read.html", {})
        return see_other(request, "settings")
    return HttpResponse("form")


@pytest.fixture
def send():
    user = person()

    def post(*, to="/weigh/", by=user, **given):
        request = RequestFactory().post(to, given)
        request.user = by
        return weigh(request)

    return post


def test_it_is_done_once_and_answered_the_same(send):
    first = send(once="k1", prefix="a", csrfmiddlewaretoken="one")
    again = send(once="k1", prefix="a", csrfmiddlewaretoken="two")
    assert first.status_code == again.status_code == 303
    assert first["Location"] == again["Location"] == "/settings/"
    assert again["Idempotent-Replayed"] == "true" and Numbering.objects.count() == 1


def test_another_person_or_key_is_another_thing(send):
    send(once="k1", prefix="a")
    send(once="k2", prefix="b")
    send(once="k1", prefix="c", by=person())
    assert Numbering.objects.count() == 3


def test_the_same_key_for_something_else_is_refused_and_so_is_none(send):
    send(once="k1", prefix="a")
    other = send(once="k1", prefix="b")
    assert other.status_code == 422 and "sent before" in read(other)
    assert send(prefix="b").status_code == 400
    assert Numbering.objects.count() == 1


def test_a_form_that_comes_back_left_nothing_behind(send):
    assert send(once="k1", prefix="a", bad="yes").status_code == 422
    assert not Numbering.objects.exists() and not IdempotencyRecord.objects.exists()
    assert send(once="k1", prefix="a").status_code == 303


def test_looking_needs_no_key():
    request = RequestFactory().get("/weigh/")
    request.user = get_user_model()()
    assert weigh(request).content == b"form"
