"""Who does what is being done: a person, or the schedule; and the column that keeps it.

An edge says once who acts (`acting`): the frame of requests for whoever is signed in, tasks for
the schedule, jobs and imports for whoever asked for them. Rows with a `DoerField`, and the
histories of `studio.foundation.histories`, name that one by themselves, whatever door led there; a
service that is told `by` whom says so itself, which goes before.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db import models

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    _Account = models.ForeignKey[User | None, User | None]
else:
    _Account = models.ForeignKey

#: An account; and by whom something is done, None where nobody is known.
Doer: TypeAlias = "User"
By: TypeAlias = "User | None"
#: The account that stands for the schedule. Nobody can be called so: names of accounts hold no
#: blanks. It has no role, no password, and cannot sign in.
SCHEDULE = "the schedule"


@dataclass(slots=True)
class _Acting:
    """Who acts, found out once, when somebody asks; and why as a whole."""

    find: Callable[[], By]
    because: str
    person: By = None

    def found(self) -> By:
        if self.person is None:  # a program is known only once its token was read
            self.person = self.find()
        return self.person


_acting: ContextVar[_Acting | None] = ContextVar("acting", default=None)


@contextmanager
def acting(person: Callable[[], By], *, because: str = "") -> Iterator[None]:
    """Within this block what is kept names that person; histories keep `because` as the reason."""
    before = _acting.set(_Acting(person, because))
    try:
        yield
    finally:
        _acting.reset(before)


def doer() -> By:
    """Who acts; None when nobody said."""
    now = _acting.get()
    return now.found() if now is not None else None


def because() -> str:
    """Why, as a whole: the table that is taken in; empty when nobody said."""
    now = _acting.get()
    return now.because if now is not None else ""


def the_schedule() -> Doer:
    """The account that stands for what the studio does by itself; made when first needed."""
    kept, _ = get_user_model()._default_manager.get_or_create(
        username=SCHEDULE, defaults={"is_active": False, "password": UNUSABLE_PASSWORD_PREFIX}
    )
    return kept


class DoerField(_Account):
    """By whom a row was written; of one with `latest`, by whom it was written last.

    Empty where nobody said: shown as not noted. In the database a ForeignKey.
    """

    def __init__(self, *args: Any, latest: bool = False, **kwargs: Any) -> None:
        self.latest = latest
        kept = {"on_delete": models.PROTECT, "null": True, "blank": True, "related_name": "+"}
        to = () if args or "to" in kwargs else (settings.AUTH_USER_MODEL,)
        super().__init__(*to, *args, **{**kept, **kwargs})

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.ForeignKey", args, kwargs

    def pre_save(self, model_instance: models.Model, add: bool) -> Any:
        if self.latest:
            # Whom a service names goes before; who saved it before does not stay in their place.
            now = getattr(model_instance, "_history_user", None) or doer()
            setattr(model_instance, self.attname, now.pk if now else None)
        elif add and getattr(model_instance, self.attname) is None and (now := doer()):
            setattr(model_instance, self.attname, now.pk)
        return super().pre_save(model_instance, add)
