"""Tables in and out: files to take away, files handed in, their errors, and taking them in."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from inventory.models.catalog.materials import Material
from studio.models import ImportRun
from studio.work.exchange import runs, starting
from tests.inventory.buying import an_oil
from tests.read_pages import read
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import carried_on, handed_in

pytestmark = pytest.mark.django_db
GOOD = "code,name,kind\nolive,Olive oil,fat\nclay,Clay,colorant\n"
BAD = GOOD + "lye,Lye,alkali\npalm,,fat\n"
ADDRESS = "/settings/tables/"


def signed_in(user=None):
    client = Client()
    client.force_login(user or person())
    return client


def hand_in(client, content=GOOD, **values):
    file = SimpleUploadedFile("shelf.csv", content.encode(), content_type="text/csv")
    return client.post(ADDRESS, {"table": "materials", "mode": "create", "file": file, **values})


def test_everything_kept_can_be_taken_away():
    an_oil("olive")
    client = signed_in()
    page = read(client.get(ADDRESS))
    for form, begins in (("csv", b""), ("semicolon.csv", b""), ("xlsx", b"PK")):
        for what in ("export", "template"):
            link = f"/settings/tables/materials/{what}.{form}"
            assert link in page
            response = client.get(link)
            content = b"".join(response.streaming_content)
            assert response.status_code == 200 and content.startswith(begins) and content
            assert "attachment" in response["Content-Disposition"]
    kept = b"".join(client.get("/settings/tables/materials/export.semicolon.csv"))
    assert b"code;" in kept and b"olive" in kept


def test_a_table_that_is_not_there_is_not_found():
    client = signed_in()
    assert client.get("/settings/tables/secrets/export.csv").status_code == 404
    assert client.get("/settings/tables/materials/export.pdf").status_code == 404


def test_an_export_can_be_handed_in_again_as_it_is():
    an_oil("olive")
    client = signed_in()
    kept = b"".join(client.get("/settings/tables/materials/export.csv")).decode()
    run = ImportRun.objects.get(pk=_number(hand_in(client, kept, mode="change")))
    carried_on(run)
    assert "leave 1 as they are" in read(client.get(_address(run)))


def _number(response):
    assert response.status_code == 303, read(response)[:2000]
    return int(response["Location"].rstrip("/").rpartition("/")[2])


def _address(run):
    return f"{ADDRESS}files/{run.pk}/"


def test_a_file_with_errors_changes_nothing_and_names_each():
    client = signed_in()
    run = ImportRun.objects.get(pk=_number(hand_in(client, BAD)))
    waiting = read(client.get(_address(run)))
    assert 'hx-trigger="every 1s"' in waiting and "<progress" in waiting
    carried_on(run)
    page = read(client.get(_address(run)))
    assert "every 1s" not in page and "2 errors" in page
    for fault in run.faults:
        assert (
            f'<td class="number row-number">{fault["row"]}</td><td>{fault["column"]}</td>' in page
        )
    assert "Take it in" not in page and not Material.objects.exists()
    refused = client.post(f"{_address(run)}take-in/")
    assert refused.status_code == 422 and not Material.objects.exists()
    told = b"".join(client.get(f"{_address(run)}errors.csv")).decode()
    assert told.count("\n") == 3


def test_a_clean_file_is_taken_in_with_one_button():
    client = signed_in()
    run = ImportRun.objects.get(pk=_number(hand_in(client)))
    carried_on(run)
    assert "it would add 2" in read(client.get(_address(run)))
    assert not Material.objects.exists(), "so far it is only checked"
    assert client.post(f"{_address(run)}take-in/").status_code == 303
    run.refresh_from_db()
    carried_on(run)
    assert "2 new" in read(client.get(_address(run)))
    assert Material.objects.count() == 2
    assert "taken in" in read(client.get(ADDRESS))


def test_the_progress_counts_rows():
    run = handed_in("materials", GOOD, by=person(), dry_run=True)
    ImportRun.objects.filter(pk=run.pk).update(rows_checked=1, rows_total=2)
    page = read(signed_in(run.by).get(_address(run)))
    assert "1 of 2 rows" in page and 'value="1" max="2"' in page


def test_giving_it_up_changes_nothing():
    client = signed_in()
    run = ImportRun.objects.get(pk=_number(hand_in(client)))
    assert client.post(f"{_address(run)}give-up/").status_code == 303
    runs.do_import(run.pk, clock=timezone.now)
    run.refresh_from_db()
    assert run.state == "refused" and not Material.objects.exists()
    assert "not taken in" in read(client.get(ADDRESS))


@pytest.mark.parametrize(
    ("content", "values", "words"),
    [
        ("", {}, "empty"),
        (GOOD, {"table": "secrets"}, "valid choice"),
        (GOOD, {"mode": "all"}, "valid choice"),
        (GOOD, {"file": ""}, "required"),
    ],
)
def test_what_cannot_be_handed_in_is_told(content, values, words):
    response = hand_in(signed_in(), content, **values)
    assert response.status_code == 422 and words in read(response)
    assert not ImportRun.objects.exists()


def test_too_large_a_file_is_not_read(monkeypatch):
    monkeypatch.setattr(starting, "MOST_BYTES", 10)
    response = hand_in(signed_in())
    assert response.status_code == 422 and "several parts" in read(response)


def test_each_sees_their_own_and_an_owner_all():
    run = handed_in("materials", GOOD, by=person("maker"), dry_run=True)
    assert signed_in(run.by).get(_address(run)).status_code == 200
    assert signed_in(person("owner")).get(_address(run)).status_code == 200
    assert signed_in(person("viewer")).get(_address(run)).status_code == 404


def test_a_viewer_takes_away_but_hands_nothing_in():
    client = signed_in(person("viewer"))
    page = read(client.get(ADDRESS))
    assert "Check this file" not in page and "materials/export.csv" in page
    assert hand_in(client).status_code == 403
    assert not ImportRun.objects.exists()


def test_the_page_has_few_queries(django_assert_max_num_queries):
    by = person()
    for _ in range(4):
        handed_in("materials", GOOD, by=by, dry_run=True)
    client = signed_in(by)
    with django_assert_max_num_queries(7):
        client.get(ADDRESS)
