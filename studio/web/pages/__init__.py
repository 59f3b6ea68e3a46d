"""The frame of the pages: what every app's pages share. How to add one:

**Addresses.** Put `urlpatterns` into `<app>/pages/urls.py`; they appear below `/` by themselves.
Address names end in `-page` or are the place's name ("shelf", "recipes", "batches", "prices",
"buying"). Search by code leads to the pages named "material-page", "lot-page", "recipe-page" and
"batch-page", each with the code as its one argument, as soon as they exist.

**A place** in the rail (bottom bar on a phone), in the app's `ready()`:

    from studio.web.pages.places import PLACES, Place
    PLACES.register(Place("shelf", "Shelf", url_name="shelf", order=20, daily=True))

Orders: Today 10, Shelf 20, Recipes 30, Batches 40, Prices 50, Buying 60, Settings 90. The first
five are `daily`. A place is shown once its address exists, to those who have its `rule` (READ by
default), and marked on every address below its own.

**A page** is a function with a rule (a Capability, or a tuple of which all are needed). Without
one `manage.py check` fails (studio.E006). Others are led to sign-in or get 403; NotFound raised
inside is 404; nothing is cached; `methods` defaults to GET, HEAD and POST:

    from studio.web.pages.ruled import page, who
    from studio.foundation.roles import Capability

    @page(Capability.READ, methods=GET)
    def lot_page(request, code):
        return render(request, "inventory/stock/lot.html", {"lot": queries.lots.lot_by_code(code)})

A page that looks with READ and writes with another capability is two views, or asks
`Capability.X in capabilities_of(request.user)` for the form it shows.

**A template** extends the frame and fills its blocks; `{% load studio_pages %}` has the tags:

    {% extends "studio/base.html" %}{% load studio_pages static %}
    {% block title %}{{ lot.code }}{% endblock %}
    {% block styles %}<link rel="stylesheet" href="{% static 'inventory/lot.css' %}">{% endblock %}
    {% block scripts %}<script src="{% static 'inventory/lot.js' %}" defer></script>{% endblock %}
    {% block trail %}<p class="trail"><a href="{% url 'shelf' %}">Shelf</a></p>{% endblock %}
    {% block heading %}{{ lot.code }}{% endblock %}            {# the one h1 #}
    {% block action %}<a class="button" href="...">Count</a>{% endblock %}   {# the one action #}
    {% block content %}<p class="answer">The answer, in one sentence.</p>...{% endblock %}

Every template knows `studio_name`, `currency`, `role`, `able` (`{% if able|may:"keep_stock" %}`),
`may_see_costs`, `preferences` (`.units` "metric"/"us", `.dates`, `.theme`), `places`, `user`.
No `style="..."` attribute, no inline script or handler: the content security policy drops them.
Classes that are there: answer, large, quiet, panel, beside (two columns), scroll (around tables,
with `tabindex="0" role="region" aria-label`), number and spare (cells), state with good / soon /
danger / plain, button and button.quiet / button.grave, form and narrow (width), pair (fields side
by side), rows (table of a formset), bench (large type and targets), unseen (for screen readers).

**Numbers**: `{% mass ng %}`, `{% volume nl %}`, `{% stock amount counted %}` (the reader's units,
the others small beside; `both=False` for the first alone), `{% day date %}`, `{{ value|money }}`,
`{{ value|exact_money }}`, `{{ share|percent }}`, `{{ word|state:"soon" }}`. In Python the same in
`studio.web.pages.writing`, with `studio.web.pages.frame.preferences_of(user).units`.

**A form** is a Django form with the fields of `studio.web.form_fields` (quantity, money, share).
`{% field form.name %}` draws label, help, control, errors, and, for those fields, what it read
while somebody types (`density="0.92"` weighs a volume; `echo="mass"` for a plain CharField;
`echo=""` for none; `bare=True` in table cells). `{% summary form lines %}` stands above.

    class CountForm(forms.Form):
        found = QuantityFormField(dimensions=[Dimension.MASS, Dimension.VOLUME])

    @page(Capability.KEEP_STOCK, once=True)         # once: only where stock changes
    def count_page(request, code):
        form = CountForm(request.POST or None)
        if request.method == "POST" and form.is_valid():
            with faults_on(form, names={"counted": "found"}):
                services.counts.count_lot(code=code, ..., by=who(request))
                messages.success(request, f"{code} is counted.")
                return see_other(request, "lot-page", code)
        return form_page(request, "inventory/count.html", {"form": form})

    <form class="form" method="post">{% csrf_token %}{% once %}
      {% summary form %}{% field form.found %}<button>Save the count</button></form>

`form_page` answers 422 when a POST comes back, which undoes what the view wrote. `once`
(`studio.web.pages.stock_pages`) runs the view in one transaction and once for each key; a script
may send the key as the header Idempotency-Key. Without stock, leave `once` and `{% once %}`
out. Master data: `{% revision row %}` in the form, and `unchanged=unchanged_since(request)` to the
service that locks and saves the row; `faults_on` shows its refusal. Where the model describes
its fields, the form is a `RowForm`: `save_...(*form.given_row(), expected=expected_of(request))`.

**Rows** (formsets): `faults_on(form, rows={"lines": lines})` takes "lines.2.quantity"
to the third filled-in row; give the service `filled(lines)`. A further row is added without the
server by `<button type="button" data-add-row="lines">`, `<template id="lines-row">` holding
`lines.empty_form`, and `data-rows="lines"` on the element that the rows stand in.

**A list** (`studio.web.pages.lists`): one query a page, however long it is; the address keeps
filter and place; the table is swapped while somebody types:

    rows = list_page(request, queryset, order=("name", "id"), filters=form)   # last one unique

    {% list_filters rows %}<div id="rows">... {% for lot in rows.rows %} ... {% pager rows %}</div>

`form` is the bound filter form (GET); apply its values to the queryset first. `rows.filtered`
tells an empty list from an empty find. Everything that the filter changes stands in `#rows`.

**A fragment** is a page like any other, asked by `hx-get` / `hx-post` on an element with
`hx-target`; it renders a template whose name begins with an underscore. `request.htmx` tells.
A whole page can be asked, with `hx-select="#part"`. Answers 200, 409 and 422 are swapped in. The
CSRF token goes along by itself. Every form also works without a script.

**A chart** (`studio.foundation.drawing`): pure functions that return a `Chart`; `{% chart it %}`
draws it with its numbers behind a disclosure, `{{ it.svg|safe }}` the drawing alone (in a table's
cell). There are `stock_bar` (`size="row"` for a cell), `projected_stock`, `waterfall`,
`bars_with_band`, `curve_with_band`, `line_history`, `timeline`, `layered_graph` and
`cross_section`. Each takes a `prefix` that is unique on its page and a `title`; values are whole
numbers with their own words:

    stock_bar(prefix=f"stock-{material.pk}", title=material.name, size="row",
              on_hand=Measured(value=ng, text="1.2 kg"), reserved=Measured(value=0, text="0 g"))

**Search** finders: see `studio.web.pages.search`. **Today** sections: see
`studio.web.pages.panels`.

**Tests**: `tests/<app>/pages/test_*.py` with `django.test.Client` and `force_login` (people from
`tests.studio.web.api.people.person("maker")`); assert status, words, and the number of queries
(`django_assert_max_num_queries`). In a browser, `tests/browser/test_<app>_*.py`:

    def test_a_count(studio_page, axe):          # runs on a phone and on a desktop
        studio_page.goto("/shelf/")
        ...
        axe()

`studio_page` is a Chromium page, signed in as an owner; the test fails by itself when anything
is asked from another origin, dropped by the content security policy, or said on the console.
"""
