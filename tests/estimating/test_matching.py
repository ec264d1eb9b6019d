"""Tests of normal forms: what is spelled in two ways is one, and what is normal already stays as it is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.matching import (
    SHORT,
    address_key,
    email_key,
    fold,
    name_address_key,
    phone_digits,
    search_terms,
    searchable,
)


@given(st.text(max_size=80))
def test_normalising_twice_changes_nothing(text):
    for normal in (fold, address_key, email_key, phone_digits):
        assert normal(normal(text)) == normal(text), normal.__name__


@given(st.text(max_size=80))
def test_every_word_of_a_text_is_found_in_it(text):
    found = searchable(text)
    assert all(term in found for term in search_terms(fold(text)) if not term.isdigit())


def test_a_short_word_stands_for_itself():
    assert all(SHORT.get(short, short) == short for short in SHORT.values())


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("12 Main Street", "12 main st."),
        ("418 Fictional Quay #4R\nSampleton ST", "418 FICTIONAL QUAY, Apt. 4R, Sampleton St"),
        ("7 North Élan Avenue", "7 N. Elan Ave"),
        ("1 O’Brien Place", "1 OBrien Pl"),
        ("3 Straße", "3 STRASSE"),
    ],
)
def test_an_address_spelled_in_two_ways_is_one(one, other):
    assert address_key(one) == address_key(other)


@pytest.mark.parametrize(("one", "other"), [("12 Main St", "21 Main St"), ("1 A St #4R", "1 A St #4L")])
def test_another_address_stays_another(one, other):
    assert address_key(one) != address_key(other)


@pytest.mark.parametrize(
    ("text", "digits"),
    [
        ("555-0142", "5550142"), ("(212) 555-0142", "2125550142"), ("+1 212.555.0142", "2125550142"),
        ("555-014", ""), ("", ""), ("call the porter", ""), ("٥٥٥٠١٤٢", "5550142"),
    ],
)  # fmt: skip
def test_a_phone_is_its_digits(text, digits):
    assert phone_digits(text) == digits


def test_a_name_without_an_address_is_compared_with_nobody():
    assert name_address_key("Ana", "") == name_address_key("", "1 Main St") == ""
    assert name_address_key("Ána  Q.", "1 Main Street") == name_address_key("ana q", "1 main st")
