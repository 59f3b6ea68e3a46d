"""Search from anywhere: by name, by code, by what a scanner read.

Each app registers finders in its `ready()`:

    from studio.web.pages.search import FINDERS, Rows

    FINDERS.register(Rows(of=Mold.objects.all(), page="mold-page").finder("molds"))

`find(text, limit)` of a `Finder` returns `Found` rows whose name or code holds the text;
`by_code(code)` returns the address of the page of exactly this code, or "" (it is asked first: one
match and the person stands before it). A `Found` without `href` is shown without a link.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce
from operator import attrgetter, or_
from typing import Any
from urllib.parse import urlsplit

from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import Resolver404, resolve

from studio.foundation.registry import Registry
from studio.foundation.roles import Capability, capabilities_of
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page
from studio.web.permissions import Rule

LIMIT = 20
LONGEST = 200


@dataclass(frozen=True, slots=True)
class Found:
    """One thing found: what it is called, its code, a word about it, its page."""

    name: str
    code: str = ""
    note: str = ""
    href: str = ""


def _nothing(code: str) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Finder:
    """How things of one kind are found, with a fixed number of queries."""

    name: str
    label: str
    find: Callable[[str, int], list[Found]]
    by_code: Callable[[str], str] = _nothing
    rule: Rule = Capability.READ
    order: int = 100


@dataclass(frozen=True, slots=True)
class Kind:
    """What one finder found."""

    label: str
    rows: list[Found]
    more: bool

    @property
    def has_notes(self) -> bool:
        """Whether there is a word about any of them."""
        return any(row.note for row in self.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows to be found by what their columns hold, and by exactly their code; one query each.

    `page` is called with the code; `called` is the path to the name, `note` says a word of a row.
    """

    of: QuerySet[Any]
    page: str
    columns: tuple[str, ...] = ("name", "code")
    called: str = "name"
    order_by: tuple[str, ...] = ("name", "id")
    note: Callable[[Any], str] = _nothing

    def find(self, text: str, limit: int) -> list[Found]:
        """Rows one of whose columns holds the text."""
        holds = reduce(or_, (Q(**{f"{column}__icontains": text}) for column in self.columns))
        name, rows = attrgetter(self.called), self.of.filter(holds).order_by(*self.order_by)
        return [
            Found(name(row), row.code, self.note(row), page_address(self.page, row.code))
            for row in rows[:limit]
        ]

    def by_code(self, code: str) -> str:
        """The page of the row with exactly this code, or ""."""
        found = self.of.filter(code__iexact=code).values_list("code", flat=True).first()
        return page_address(self.page, found) if found else ""

    def finder(self, name: str, **known: Any) -> Finder:
        """What finds them, called by what they are."""
        return Finder(name, name.capitalize(), find=self.find, by_code=self.by_code, **known)


FINDERS = Registry[Finder](order=attrgetter("order", "name"))


def finders_for(user: Any) -> list[Finder]:
    """The finders this person may use, in their order."""
    able = capabilities_of(user)
    return [
        finder
        for finder in FINDERS
        if frozenset({finder.rule} if isinstance(finder.rule, Capability) else finder.rule) <= able
    ]


@page(Capability.READ, methods=GET)
def search(request: HttpRequest) -> HttpResponse:
    """What has this name or code; straight to the page where exactly one has the code."""
    asked = " ".join(request.GET.get("q", "").replace("\0", " ").split())[:LONGEST]
    if scanned := scanned_address(asked):
        return HttpResponseRedirect(scanned)
    finders = finders_for(request.user)
    exact = [address for finder in finders if asked and (address := finder.by_code(asked))]
    if len(exact) == 1:
        return HttpResponseRedirect(exact[0])
    found = [_look(finder, asked) for finder in finders] if asked else []
    kinds = [kind for kind in found if kind.rows]
    context = {"searched": asked, "kinds": kinds, "count": sum(len(k.rows) for k in kinds)}
    return render(request, "studio/search.html", context)


def _look(finder: Finder, asked: str) -> Kind:
    rows = finder.find(asked, LIMIT + 1)
    return Kind(finder.label, rows[:LIMIT], more=len(rows) > LIMIT)


def scanned_address(text: str) -> str:
    """The path of one of our own pages in a scanned address, or "".

    Labels carry the studio's address as it was when they were printed; only the path counts, so
    a scan never leads to another host.
    """
    try:
        parts = urlsplit(text)
    except ValueError:
        return ""
    if parts.scheme not in ("http", "https") or not parts.path.startswith("/"):
        return ""
    path = "/" + parts.path.lstrip("/")
    try:
        resolve(path)
    except Resolver404:
        return ""
    return path if "\\" not in path else ""
