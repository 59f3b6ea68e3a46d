"""One more task, by which tests see that a worker works."""

from django.contrib.auth.models import Group

from studio.celery import app


@app.task(name="tests.leave_a_row")
def leave_a_row(name: str) -> None:
    """Write a row that the test waits for."""
    Group.objects.get_or_create(name=name)
