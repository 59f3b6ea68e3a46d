"""Every page has a rule; those whom it leaves out sign in, or are told why."""

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.test import Client, RequestFactory
from django.urls import path

from studio.foundation.errors import NotFound
from studio.foundation.roles import Capability
from studio.web.pages.ruled import every_page_has_a_rule, page, page_errors, routed_pages
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def asked(user, method="get", **headers):
    request = getattr(RequestFactory(headers=headers), method)("/lots/?q=1")
    request.user = user
    request.htmx = bool(headers)
    return request


def anyone():
    from django.contrib.auth.models import AnonymousUser

    return AnonymousUser()


@page((Capability.READ, Capability.SEE_COSTS))
def costs(request):
    return HttpResponse("costs")


def test_all_capabilities_of_a_rule_are_needed():
    assert costs(asked(person("maker", see_costs=True))).content == b"costs"
    for user, words in ((person("maker"), "costs"), (person(None), "no role")):
        with pytest.raises(PermissionDenied, match=words):
            costs(asked(user))


def test_before_sign_in_it_leads_there_and_back():
    assert costs(asked(anyone()))["Location"] == "/sign-in/?next=/lots/%3Fq%3D1"
    fragment = costs(asked(anyone(), **{"HX-Current-URL": "https://soap.example/shelf/?q=2"}))
    assert fragment["HX-Redirect"] == "/sign-in/?next=/shelf/%3Fq%3D2"


def test_nothing_is_kept_by_the_browser():
    assert "no-store" in costs(asked(person()))["Cache-Control"]


def test_the_address_of_a_button_says_that_there_is_nothing_to_look_at():
    client = Client()
    client.force_login(person("owner"))
    answer = client.get("/batches/B-00001/reserve/")
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    assert "Go back to the page that has the button" in read(answer)
    assert client.delete("/shelf/").status_code == 405


def test_a_page_that_is_done_once_answers_again_as_before():
    done = []

    @page(Capability.KEEP_STOCK, once=True)
    def count(request):
        done.append(request.method)
        return HttpResponse(f"{len(done)}", status=303)

    user = person("maker")
    sent = [asked(user, "post", **{"Idempotency-Key": "k-1"}) for _ in range(2)]
    assert [count(each).content for each in sent] == [b"1", b"1"]
    assert done == ["POST"]


def test_what_is_not_found_is_a_page():
    @page(Capability.READ)
    def lost(request):
        raise NotFound("There is no lot L-1.")

    with pytest.raises(Http404, match="no lot L-1"):
        lost(asked(person()))


def test_all_pages_have_a_rule_and_one_without_is_found():
    assert every_page_has_a_rule(None) == []
    assert len(list(routed_pages())) > 15
    bare = path("bare/", lambda request: HttpResponse())
    [error] = page_errors([bare, path("ruled/", costs)])
    assert error.id == "studio.E006" and "bare/" in error.msg


def test_pages_of_refusals_stand_in_the_frame():
    client = Client()
    client.force_login(person("viewer"))
    told = client.get("/settings/people/")
    assert told.status_code == 403 and "Your role does not cover this" in read(told)
    lost = client.get("/settings/people/999/")
    assert lost.status_code == 403
    client.force_login(person("owner"))
    lost = client.get("/settings/people/999999/")
    assert lost.status_code == 404 and "There is no such account." in read(lost)


def test_a_forged_form_says_what_to_do():
    client = Client(enforce_csrf_checks=True)
    client.force_login(person("owner"))
    told = client.post("/settings/", {"units": "us"})
    assert told.status_code == 403 and "reload the page" in read(told)
