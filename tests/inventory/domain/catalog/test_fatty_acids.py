"""The notation of fatty acids."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.descriptions import TRIVIAL_NAMES, read_fatty_acid
from studio.foundation.errors import InvalidInput


@given(st.text(max_size=80))
def test_any_text_is_read_to_a_shorthand_that_reads_as_itself_or_refused(text):
    try:
        acid = read_fatty_acid(text)
    except InvalidInput:
        return
    assert read_fatty_acid(acid) == acid and len(acid) <= 16


@pytest.mark.parametrize("written", ["C12:0", "c12:0", "12:0", "lauric", "Lauric acid"])
def test_shorthand_and_trivial_name_are_the_same_acid(written):
    assert read_fatty_acid(written) == "C12:0"


def test_every_trivial_name_agrees_with_its_shorthand():
    for name, shorthand in TRIVIAL_NAMES.items():
        assert read_fatty_acid(f"{shorthand} {name}") == shorthand


@pytest.mark.parametrize(
    "written", ["", "C12", "C12:9", "C2:0", "C40:0", "C12:0 oleic", "omega 3", "C18:1 C18:1 C18:1"]
)
def test_what_is_no_acid_or_contradicts_itself_is_refused(written):
    with pytest.raises(InvalidInput):
        read_fatty_acid(written)
