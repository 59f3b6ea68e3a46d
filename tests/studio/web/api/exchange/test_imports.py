"""Imports over the API: handed in as form data, followed, carried on, and their faults."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from inventory.models.catalog.materials import Material
from studio.models import ImportRun
from studio.work.exchange import runs, starting
from tests.studio.web.api.people import client_as, client_of, person
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
IMPORTS = "/api/v1/imports/"
GOOD = b"code,name,kind\nolive,Olive oil,fat\n"
BAD = b"code,name,kind\nolive,Olive oil,fish\na b,B,fat\n"


@pytest.fixture(autouse=True)
def _real_addresses(settings):
    settings.ROOT_URLCONF = "studio.urls"


def hand_in(client, content=GOOD, **more):
    file = SimpleUploadedFile("shelf.csv", content)
    return client.post(IMPORTS, {"table": "materials", "file": file, **more}, format="multipart")


def work(pk):
    runs.do_import(pk, clock=timezone.now)


def test_a_file_is_checked_followed_and_imported():
    client = client_as("maker")
    answer = hand_in(client)
    assert answer.status_code == 202
    shown = answer.json()
    assert (shown["state"], shown["dry_run"], shown["mode"]) == ("checking", True, "create")
    assert shown["file_name"] == "shelf.csv"
    work(shown["id"])
    address = answer.headers["Location"]
    checked = client.get(address).json()
    assert (checked["state"], checked["rows_checked"], checked["rows_total"]) == ("checked", 1, 1)
    assert (checked["created"], checked["faults"]) == (1, [])
    assert not Material.objects.exists()
    assert client.post(address + "import/", {}).json()["state"] == "importing"
    work(shown["id"])
    assert client.get(address).json()["state"] == "done"
    assert Material.objects.get().code == "olive"
    problem_in(client.post(address + "import/", {}), 409, "import-conflict")


def test_faults_are_json_and_a_table():
    client = client_as()
    pk = hand_in(client, BAD).json()["id"]
    work(pk)
    shown = client.get(f"{IMPORTS}{pk}/").json()
    assert (shown["state"], shown["faults_total"]) == ("checked", 2)
    assert [(fault["row"], fault["column"]) for fault in shown["faults"]] == [
        (2, "kind"),
        (3, "code"),
    ]
    table = client.get(f"{IMPORTS}{pk}/faults.csv?delimiter=semicolon")
    assert table.headers["Content-Type"] == "text/csv; charset=utf-8"
    content = b"".join(table.streaming_content).decode("utf-8-sig")
    assert content.splitlines()[1].startswith("2;kind;")
    problem_in(client.post(f"{IMPORTS}{pk}/import/", {}), 409, "import-conflict")


def test_without_a_dry_run_it_goes_in_by_itself():
    client = client_as()
    pk = hand_in(client, dry_run="false", mode="change").json()["id"]
    work(pk), work(pk)
    assert client.get(f"{IMPORTS}{pk}/").json()["state"] == "done"
    listed = client.get(IMPORTS).json()["results"]
    assert [run["id"] for run in listed] == [pk] and "faults" not in listed[0]


def test_it_can_be_given_up():
    client = client_as()
    pk = hand_in(client).json()["id"]
    assert client.post(f"{IMPORTS}{pk}/discard/", {}).json()["state"] == "refused"
    problem_in(client.post(f"{IMPORTS}{pk}/discard/", {}), 409, "import-conflict")


def test_roles_and_other_people():
    maker = person("maker")
    pk = hand_in(client_of(maker)).json()["id"]
    problem_in(hand_in(client_as("viewer")), 403, "not-allowed")
    problem_in(hand_in(client_as(None)), 403, "not-allowed")
    other = client_as("maker")
    problem_in(other.get(f"{IMPORTS}{pk}/"), 404, "not-found")
    problem_in(other.post(f"{IMPORTS}{pk}/discard/", {}), 404, "not-found")
    problem_in(other.get(f"{IMPORTS}{pk}/faults.csv"), 404, "not-found")
    assert client_as("owner").get(f"{IMPORTS}{pk}/").status_code == 200


def test_what_cannot_be_read_is_refused(monkeypatch):
    client = client_as()
    problem_in(
        client.post(IMPORTS, {"table": "materials"}, format="json"), 415, "unsupported-media-type"
    )
    problem_in(hand_in(client, table="bottles"), 404, "not-found")
    problem_in(hand_in(client, mode="overwrite"), 400, "invalid-fields")
    problem_in(hand_in(client, sheet="2"), 400, "invalid-fields")
    problem_in(hand_in(client, b""), 422, "table-refused")
    problem_in(client.get(f"{IMPORTS}{2**63}/"), 404, "not-found")
    from studio.web.api.exchange.imports import ImportViewSet

    monkeypatch.setattr(ImportViewSet, "most_bytes", 100)
    problem_in(hand_in(client, b"x" * 20_000), 413, "too-large")
    assert not ImportRun.objects.exists()


def test_spreadsheets_are_taken_too():
    from openpyxl import Workbook

    book, out = Workbook(), io.BytesIO()
    for row in (["code", "name", "kind"], ["olive", "Olive oil", "fat"]):
        book.active.append(row)
    book.save(out)
    client = client_as()
    pk = hand_in(client, out.getvalue(), dry_run="false").json()["id"]
    work(pk), work(pk)
    assert Material.objects.get().name == "Olive oil"


def test_waiting_files_are_bounded():
    client = client_as()
    for _ in range(starting.MOST_WAITING):
        assert hand_in(client).status_code == 202
    problem_in(hand_in(client), 409, "import-conflict")
