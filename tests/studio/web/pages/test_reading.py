"""What a field read, in both systems of units; or why it could not."""

from datetime import date
from decimal import Decimal

import pytest
from django.template import Context, Template
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from studio.models import Preference
from studio.web import form_fields
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


@pytest.fixture
def read():
    client = Client()
    client.force_login(person("viewer"))

    def said(text, **asked):
        answer = client.get("/read/quantity/", {"text": text, **asked})
        assert answer.status_code == 200 and "<html" not in answer.content.decode()
        return answer.content.decode().strip()

    return said


# 1 lb = 453.59237 g and 1 oz = 28.349523125 g exactly; US gallon 3.785411784 L (NIST Handbook 44,
# appendix C).
@pytest.mark.parametrize(
    ("text", "asked", "words"),
    [
        ("1 lb 4 oz", {"as": "mass"}, "567 g · 1.25 lb"),
        ("1 gal", {"as": "volume"}, "3.785 L · 1 gal"),
        ("1 L", {"as": "mass", "density": "0.9"}, "900 g · 1.98 lb"),
        ("2 dozen", {"as": "count"}, "24 pieces"),
        ("1 each", {"as": "stock"}, "1 piece"),
        ("10 in", {"as": "length"}, "254 mm · 10 in"),
        ("100 F", {"as": "temperature"}, "37.778 °C · 100 °F"),
        ("1,234.5", {"as": "money"}, "$1,234.50"),
        ("5.25", {"as": "share"}, "5.25 %"),
        ("", {"as": "mass"}, ""),
    ],
)
def test_it_says_what_it_read(read, text, asked, words):
    assert read(text, **asked) == words


def test_it_says_why_it_could_not_and_escapes_what_it_repeats(read):
    assert "Write mL for milliliters" in read("500 ML", **{"as": "volume"})
    assert "density" in read("1 cup", **{"as": "mass"})
    assert "such as 0.915" in read("1 cup", **{"as": "mass", "density": "x"})
    assert "<b>" not in read("<b>1</b>", **{"as": "mass"})
    assert "trouble" in read("9" * 300, **{"as": "money"})


def test_the_text_may_come_under_the_fields_own_name(read):
    assert read("", **{"of": "lines-0-quantity", "lines-0-quantity": "1 kg"}) == "1 kg · 2.2 lb"


@given(st.decimals(0, 1, places=8))
def test_a_share_reads_back_as_it_is_shown(value):
    field = form_fields.ShareFormField()
    assert field.clean(field.prepare_value(value)) == value


@pytest.mark.parametrize("text", ["-1", "101", "5,5", "x", "1e3", "NaN", "1" * 9])
def test_no_share(text):
    with pytest.raises(form_fields.ValidationError):
        form_fields.ShareFormField().clean(text)


def drawn(text, **context):
    return Template("{% load studio_pages %}" + text).render(Context(context))


def test_numbers_follow_the_reader():
    us = Preference(units="us", dates="locale")
    ng = 1_360_777_110_000  # three pounds
    assert drawn("{% mass a %}", a=ng, preferences=us).startswith(
        '<span class="amount">3 lb <small>'
    )
    assert drawn("{% mass a both=False %}", a=ng, preferences=Preference()) == "1.361 kg"
    assert drawn("{% stock 1200 counted=True %}") == "1,200 pieces"
    assert "Mar 9, 2026" in drawn("{% day d %}", d=date(2026, 3, 9), preferences=us)
    assert drawn(
        "{{ m|money }} {{ m|exact_money }} {{ s|percent }}", m=12345, s=Decimal("0.0512")
    ) == ("$1.23 $1.2345 5.12 %")
    assert (
        drawn('{{ word|state:"soon" }}', word="<low>")
        == '<span class="state soon">&lt;low&gt;</span>'
    )
