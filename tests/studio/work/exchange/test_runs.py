"""Imports: checked with progress, then all in or nothing, whatever happens to a worker."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models.catalog.materials import Material
from studio.foundation.errors import InvalidInput, NotFound
from studio.foundation.tables.cells import TableRefusal
from studio.models import ImportRun
from studio.work.exchange import runs, starting
from studio.work.exchange.registry import ImportConflict, TableClosed
from studio.work.leases import PATIENCE
from tests.inventory.buying import an_oil
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import carried_on, counted, handed_in, imported, told

pytestmark = pytest.mark.django_db
GOOD = "code,name,kind\nolive,Olive oil,fat\nclay,Clay,colorant\n"


def many(count):
    lines = [f"m-{number},Material {number},additive\n" for number in range(count)]
    return "code,name,kind\n" + "".join(lines)


def test_a_dry_run_checks_everything_and_changes_nothing():
    run = carried_on(handed_in("materials", GOOD, by=person(), dry_run=True))
    assert counted(run) == ("checked", 2, 0, 0)
    assert (run.rows_checked, run.rows_total, run.faults) == (2, 2, [])
    assert not Material.objects.exists()


def test_a_checked_file_is_imported_and_then_forgotten():
    by = person()
    run = carried_on(handed_in("materials", GOOD, by=by, dry_run=True))
    run = carried_on(starting.go_on(run.pk, by=by, now=timezone.now()))
    assert counted(run) == ("done", 2, 0, 0)
    assert bytes(run.content) == b"" and run.finished_at is not None
    assert set(Material.objects.values_list("code", flat=True)) == {"olive", "clay"}


def test_without_a_dry_run_a_clean_file_goes_in_at_once():
    by = person()
    assert counted(imported("materials", GOOD, by=by)) == ("done", 2, 0, 0)
    assert Material.history.filter(history_user=by).count() == 2


def test_one_fault_keeps_all_rows_out_and_every_fault_is_told():
    content = GOOD + "Olive oil,Olive,fat\nlye,Lye,alkali\nolive,Again,fat\npalm,,fat\n"
    run = imported("materials", content, by=person())
    assert run.state == "refused" and not Material.objects.exists()
    assert told(run) == [
        (4, "code", "invalid-input"),
        (5, "alkali", "alkali-missing"),
        (6, "code", "code-twice"),
        (7, "name", "needed"),
    ]
    assert run.trouble == "Nothing was changed." and bytes(run.content) == b""


def test_the_same_file_twice_is_refused_or_changes_nothing_as_was_chosen():
    by = person()
    imported("materials", GOOD, by=by)
    again = imported("materials", GOOD, by=by)
    assert told(again) == [(2, "", "already-there"), (3, "", "already-there")]
    assert counted(imported("materials", GOOD, by=by, mode="change")) == ("done", 0, 0, 2)
    assert set(Material.objects.values_list("revision", flat=True)) == {1}


def test_a_fault_that_only_the_whole_import_finds_takes_all_back():
    by = person()
    run = carried_on(handed_in("materials", GOOD, by=by, dry_run=True))
    starting.go_on(run.pk, by=by, now=timezone.now())
    an_oil("clay")
    run = carried_on(run)
    assert (run.state, told(run)) == ("refused", [(3, "", "already-there")])
    assert not Material.objects.filter(code="olive").exists()


def test_progress_is_told_while_it_is_checked(monkeypatch):
    seen = []
    take_all = runs.take_all

    def looked_at(groups, *more):
        seen.append(ImportRun.objects.values_list("rows_checked", "rows_total").get())
        take_all(groups, *more)

    monkeypatch.setattr(runs, "take_all", looked_at)
    run = carried_on(handed_in("materials", many(250), by=person(), dry_run=True))
    assert seen == [(0, 250), (100, 250), (200, 250)]
    assert run.rows_checked == 250


def test_a_run_is_carried_on_once_though_messages_come_twice():
    by = person()
    run = carried_on(handed_in("materials", GOOD, by=by))
    assert run.state == "importing"
    for _ in range(3):
        run = carried_on(run)
    assert counted(run) == ("done", 2, 0, 0)


def test_a_run_in_work_is_left_alone_until_its_lease_ends():
    run = handed_in("materials", GOOD, by=person(), dry_run=True)
    soon, late = timezone.now() + timedelta(seconds=10), timezone.now() + PATIENCE * 2
    ImportRun.objects.filter(pk=run.pk).update(taken=True, attempts=1)
    runs.do_import(run.pk, clock=lambda: soon)
    run.refresh_from_db()
    assert run.state == "checking"
    assert runs.resend_overdue(now=soon) == []
    assert runs.resend_overdue(now=late) == [run.pk]
    runs.do_import(run.pk, clock=lambda: late)
    run.refresh_from_db()
    assert (run.state, run.attempts) == ("checked", 2)


def test_a_worker_that_was_given_up_leaves_nothing(monkeypatch):
    by = person()
    run = carried_on(handed_in("materials", GOOD, by=by))
    take_all = runs.take_all

    def given_up_meanwhile(groups, *more):
        take_all(groups, *more)
        ImportRun.objects.filter(pk=run.pk).update(attempts=9)

    monkeypatch.setattr(runs, "take_all", given_up_meanwhile)
    carried_on(run)
    assert not Material.objects.exists()


def test_workers_that_die_again_and_again_end_the_run():
    run = handed_in("materials", GOOD, by=person())
    ImportRun.objects.filter(pk=run.pk).update(attempts=runs.MOST_ATTEMPTS)
    run = carried_on(run)
    assert run.state == "refused" and "workers could not finish" in run.trouble


def test_a_failure_of_the_program_is_told_and_tried_again(monkeypatch):
    run = handed_in("materials", GOOD, by=person(), dry_run=True)

    def broken(*_):
        raise RuntimeError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(runs, "take_all", broken)
        run = carried_on(run)
    assert (run.state, run.trouble) == ("checking", "RuntimeError: the disk is full")
    assert carried_on(run).state == "checked"


def test_who_lost_the_right_meanwhile_imports_nothing():
    by = person("maker")
    run = handed_in("materials", GOOD, by=by)
    by.membership.role = "viewer"
    by.membership.save()
    run = carried_on(run)
    assert (run.state, told(run)) == ("refused", [(0, "", "table-closed")])


def test_only_clean_checked_runs_are_imported():
    by = person()
    run = handed_in("materials", "code,name,kind\na b,x,fat\n", by=by, dry_run=True)
    with pytest.raises(ImportConflict, match="checking"):
        starting.go_on(run.pk, by=by, now=timezone.now())
    carried_on(run)
    with pytest.raises(ImportConflict, match="Faults in it: 1"):
        starting.go_on(run.pk, by=by, now=timezone.now())


def test_a_run_is_given_up_once():
    by = person()
    run = handed_in("materials", GOOD, by=by)
    starting.discard(run.pk, by=by, now=timezone.now())
    assert carried_on(run).state == "refused"
    with pytest.raises(ImportConflict, match="over"):
        starting.discard(run.pk, by=by, now=timezone.now())


def test_runs_are_seen_by_their_people_and_by_owners():
    maker, other, owner = person("maker"), person("maker"), person("owner")
    run = handed_in("materials", GOOD, by=maker)
    assert starting.run_of(run.pk, by=maker) == starting.run_of(run.pk, by=owner) == run
    assert list(starting.runs_of(other)) == []
    with pytest.raises(NotFound):
        starting.run_of(run.pk, by=other)


def test_what_cannot_be_started_is_refused_in_words(monkeypatch):
    by = person("maker")
    with pytest.raises(NotFound, match="materials"):
        handed_in("bottles", GOOD, by=by)
    with pytest.raises(InvalidInput, match="create or change"):
        handed_in("materials", GOOD, by=by, mode="overwrite")
    with pytest.raises(TableRefusal, match="empty"):
        handed_in("materials", "", by=by)
    with pytest.raises(TableClosed):
        handed_in("materials", GOOD, by=person("viewer"))
    monkeypatch.setattr(starting, "MOST_BYTES", 10)
    with pytest.raises(TableRefusal, match="in parts"):
        handed_in("materials", GOOD, by=by)


def test_waiting_files_of_one_account_are_bounded():
    by = person()
    for _ in range(starting.MOST_WAITING):
        handed_in("materials", GOOD, by=by)
    with pytest.raises(ImportConflict, match="not finished"):
        handed_in("materials", GOOD, by=by)


def test_files_that_nobody_imports_are_forgotten_and_old_runs_too():
    run = carried_on(handed_in("materials", GOOD, by=person(), dry_run=True))
    runs.resend_overdue(now=timezone.now() + starting.KEPT + timedelta(hours=1))
    run.refresh_from_db()
    assert run.state == "refused" and bytes(run.content) == b""
    assert "hand the file in again" in run.trouble
    late = timezone.now() + starting.KEPT + runs.REMEMBERED + timedelta(days=1)
    runs.resend_overdue(now=late)
    assert not ImportRun.objects.exists()
