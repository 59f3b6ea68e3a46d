"""Alkalis are known by their names, however they are written; what is none stays none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.alkalis import alkali_named
from inventory.domain.catalog.materials import MADE_HERE, MaterialKind


@given(
    st.lists(st.sampled_from(("Aqua", "Glycerin", "Sodium Olivate", "sodium chloride"))),
    st.sampled_from((", ", " / ", "; ", " (and) ", " and ")),
    st.sampled_from(("Sodium Hydroxide", "SODIUM  hydroxide", "Potassium Hydroxide", "")),
)
def test_an_alkali_is_found_among_the_names_of_a_list(others, between, alkali):
    kept = {"s": "NaOH", "p": "KOH", "": ""}[alkali[:1].casefold()]
    assert alkali_named(between.join([*others, alkali])) == kept
    assert alkali_named("sodium hydroxide, potassium hydroxide") == "NaOH and KOH"


@pytest.mark.parametrize(
    ("named", "alkali"),
    [
        ("Sodium\N{ZERO WIDTH SPACE}Hydroxide", "NaOH"),
        ("Caustic potash", "KOH"),
        ("Lithium Hydroxide", "LiOH"),
        ("Aqua, Calcium Hydroxide", "Ca(OH)2"),
        ("Sodium Lactate", ""),
        ("Lye", "NaOH"),
        ("Lye flakes", "NaOH"),
        ("Potassium hydroxide 90 %", "KOH"),
        ("Potassium Hydroxide, Lye for liquid soap", "KOH"),
        ("Soda ash-free clay", ""),
        ("Lyes of ash", ""),
        ("Sodium hydroxide-free powder", ""),
        ("Lye free powder", ""),
        ("Clay for NaOH", ""),
        ("NaOH-pellets", "NaOH"),
        ("50 % sodium hydroxide", "NaOH"),
        ("Natriumhydroxid", "NaOH"),
        ("\N{LATIN CAPITAL LETTER A WITH DIAERESIS}tznatron", "NaOH"),
        ("caustic soda micropearls", "NaOH"),
        ("KOH 90", "KOH"),
        ("KOH90%", "KOH"),
        ("Food grade lye", "NaOH"),
        ("Aqueous solution of KOH, 45 percent", "KOH"),
        ("Lye KOH flakes", "KOH"),
        ("Lye - potassium hydroxide", "KOH"),
        ("Lye: caustic potash", "KOH"),
        ("SodiumHydroxide", "NaOH"),
        ("Beads (CAS 1310-73-2)", "NaOH"),
        ("1310 - 58 - 3", "KOH"),
        ("White stuff, 1310\N{EN DASH}58\N{EN DASH}3", "KOH"),
        ("Dual lye: NaOH/KOH", "NaOH and KOH"),
        ("Sodium cocoate", ""),
        ("Potassium olivate", ""),
        ("Sodium hydroxide-free soap", ""),
        ("NaOH-free", ""),
        ("No lye", ""),
        ("Lye-less cream", ""),
        ("Saponified with sodium hydroxide", ""),
        ("Lyeberry oil", ""),
        ("Sodium chloride", ""),
        ("Kohl black", ""),
        ("1310-73-21", ""),
        ("Blue 1310-58-30", ""),
        ("Caustic", ""),
        ("Water for lye", ""),
        ("Soap made with lye", ""),
        ("Barley", ""),
        ("Barley water", ""),
        ("Polyester", ""),
        ("lyeless", ""),
        ("lye-free", ""),
        ("Eau de Provence", ""),
        ("Eau 524", ""),
        ("Lime water", ""),
        ("E5240", ""),
        ("E524-free", ""),
        ("no E 525", ""),
        ("13107320", ""),
        ("11310583", ""),
        ("Wood ash lye", "KOH"),
        ("Hardwood ash lye water", "KOH"),
        ("Crude potash lye", "KOH"),
        ("Slaked lime", "Ca(OH)2"),
        ("Acidity regulator (E 524)", "NaOH"),
        ("white caustic", "NaOH"),
        ("causticsoda", "NaOH"),
        ("CausticPotash", "KOH"),
    ],
)
def test_an_alkali_is_known_by_the_names_it_is_sold_under(named, alkali):
    assert alkali_named(named) == alkali


SOLD = {
    **dict.fromkeys(("sodium hydroxide", "caustic soda", "NaOH", "lye"), "NaOH"),
    **dict.fromkeys(("Potassium Hydroxide", "caustic potash", "KOH"), "KOH"),
}
WORDS = st.sampled_from(("pellets", "flakes", "beads", "90 %", "98% pure", "food grade", "micro"))


@given(st.sampled_from(sorted(SOLD)), st.lists(WORDS), st.sampled_from((" ", ", ", "  ")))
def test_whole_words_after_an_alkalis_name_leave_it_that_alkali(name, words, between):
    named = f"{name}{between}{' '.join(words)}"
    for kind in (None, MaterialKind.ADDITIVE, MaterialKind.FAT, MaterialKind.COLORANT):
        assert alkali_named(f", {named}", kind) == SOLD[name]


#: Of these more letters or other words in front make something else; "milk lye" is lye.
WHOLE = st.sampled_from(sorted(set(SOLD) - {"lye"}))


@given(WHOLE, WORDS, st.from_regex(r"[a-z]{1,6}", fullmatch=True))
def test_more_letters_words_before_or_what_is_made_here_are_no_alkali(name, word, letters):
    assert alkali_named(f"{name}{letters} {word}") == ""
    assert alkali_named(f"lye{letters} {word}") == alkali_named(f"{letters}lye") == ""
    assert alkali_named(f"{letters}x {name} {word}") == ""
    for kind in (*MADE_HERE, MaterialKind.PACKAGING):
        assert alkali_named(f"{name} {word}", kind) == ""


SPELLED = st.sampled_from(sorted(SOLD)).flatmap(
    lambda name: st.tuples(
        st.just(SOLD[name]),
        st.sampled_from((name, name.upper(), name.title(), name.replace(" ", "-"))),
    )
)
FRONT = st.sampled_from(
    ("", "50 % ", "98%-", "0.5 N ", "Food grade ", "12 oz. ", "(45 %) ", "\t1. ")
)
BACK = st.sampled_from(("", "-pellets", " micropearls", " 90", "90%", " (98 %)", ", dry", ".", "*"))


@given(SPELLED, FRONT, BACK, st.sampled_from(("", "Aqua, ", "Lavender / ")))
def test_no_dress_of_figures_marks_and_hyphens_hides_an_alkali(spelled, front, back, others):
    alkali, name = spelled
    for kind in (None, MaterialKind.ADDITIVE, MaterialKind.COLORANT, MaterialKind.LIQUID):
        assert alkali_named(f"{others}{front}{name}{back}", kind) == alkali


@given(SPELLED, FRONT, st.sampled_from((" free", "-free", "-Free soap", "-less")))
def test_what_is_free_of_it_is_none(spelled, front, without):
    assert alkali_named(f"{front}{spelled[1]}{without}") == ""


@given(SPELLED, st.sampled_from(("for", "no", "without", "clay for", "saponified with")))
def test_a_word_in_front_makes_it_something_else(spelled, word):
    assert alkali_named(f"{word} {spelled[1]}") == ""


@given(WHOLE)
def test_any_other_word_in_front_makes_it_something_else(name):
    assert alkali_named(f"milk {name}") == ""


NOT_SOAP = [kind for kind in MaterialKind if kind not in (*MADE_HERE, MaterialKind.PACKAGING)]
LYES = {"Wood ash": "KOH", "Household": "NaOH", "Milk": "NaOH", "Strong potash": "KOH"}


@given(
    st.sampled_from(sorted(LYES)),
    st.sampled_from((" lye", "-LYE", " lye water", " Lye, clear", " lye 30 %")),
    st.sampled_from([*NOT_SOAP, MaterialKind.INTERMEDIATE]),
)
def test_what_is_called_lye_at_the_end_is_lye_also_as_a_water_or_made_here(name, end, kind):
    assert alkali_named(name + end, kind) == LYES[name]
    for word in ("no", "for", "soap without", "made with"):
        assert alkali_named(f"{word} {name}{end}", kind) == ""
    for made in (MaterialKind.BAR, MaterialKind.BATTER, MaterialKind.PACKAGING):
        assert alkali_named(f"Soap of {name}{end}", made) == ""


WRITTEN = {
    **dict.fromkeys(("E524", "1310732", "1310-73-2", "causticsoda", "white caustic"), "NaOH"),
    **dict.fromkeys(("E 525", "1310583", "causticpotash", "Potassium-Hydroxide"), "KOH"),
}


@given(st.sampled_from(sorted(WRITTEN)), st.sampled_from([None, *MaterialKind]))
def test_a_name_or_number_by_itself_is_that_alkali_whatever_it_is_kept_as(name, kind):
    """E and CAS numbers, from memory."""
    for written in (name, name.upper(), f"Aqua, {name}", f"({name.lower()})"):
        assert alkali_named(written, kind) == WRITTEN[name]


LOOK_ALIKE = str.maketrans(
    "aeopcyxiKOH",
    "\u0430\u0435\u043e\u0440\u0441\u0443\u0445\u0456\u041a\u041e\u041d",
)


@given(SPELLED, st.sets(st.sampled_from("aeopcyxiKOH")))
def test_letters_that_look_like_latin_ones_hide_nothing(spelled, swapped):
    alkali, name = spelled
    seen = "".join(one.translate(LOOK_ALIKE) if one in swapped else one for one in name)
    assert alkali_named(seen) == alkali


NUMBERS = {"1310-73-2": "NaOH", "1310-58-3": "KOH"}


@given(
    st.sampled_from(sorted(NUMBERS)), st.sampled_from("-\N{HYPHEN}\N{EN DASH}\N{MINUS SIGN}"), FRONT
)
def test_a_registry_number_says_it_by_itself(number, dash, front):
    """CAS registry numbers, from memory."""
    written = number.replace("-", dash)
    for named in (
        written,
        f"{front}granules CAS {written}",
        f"[{written}]",
        f"Something, {written}.",
    ):
        assert alkali_named(named) == NUMBERS[number]
    assert alkali_named(f"{written}7") == alkali_named(f"9{written}") == ""
