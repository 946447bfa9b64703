"""File names that hold everywhere, whatever a blade is called."""

from __future__ import annotations

import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bladegeom.draw.made import file_names

RESERVED = ["con", "PRN", "aux.txt", "Nul", "com1", "LPT9", "com1.pdf"]


@given(st.lists(st.text(max_size=90), unique=True, max_size=30))
def test_every_blade_has_a_safe_file_of_its_own(identifiers):
    names = file_names(identifiers)
    folded = {unicodedata.normalize("NFKC", name).casefold() for name in names}
    assert len(folded) == len(identifiers)
    for name in names:
        assert name
        assert len(name) <= 72
        assert not re.search(r'[<>:"/\\|?*\x00-\x1f]', name)
        assert name[0] not in ". "
        assert name[-1] not in ". "


@pytest.mark.parametrize("name", ["A-40", "007", "K5", "Sch\u00e4rfe_12", "\u6728\u5de5", "a.b"])
def test_a_safe_name_stays_as_it_is(name):
    assert file_names([name]) == [name]


@pytest.mark.parametrize(
    "name", ["../../etc", "a/b", "a\\b", "K 5", ".hidden", "x.", "", "a:b", "."]
)
def test_a_name_that_was_changed_carries_its_digits(name):
    (made,) = file_names([name])
    assert re.fullmatch(r"[^/\\: ]+-[0-9a-f]{8}", made)
    assert ".." not in made


@pytest.mark.parametrize("name", RESERVED)
def test_reserved_names_are_not_used(name):
    (made,) = file_names([name])
    assert made.startswith("_")


def test_names_that_differ_only_in_case_or_composition_keep_apart():
    names = file_names(["a1", "A1", "\u00e9", "e\u0301", "b"])
    assert len({unicodedata.normalize("NFC", name).casefold() for name in names}) == 5
    assert names[4] == "b"


def test_the_name_of_a_changed_blade_does_not_depend_on_the_others():
    assert file_names(["a/b", "c"])[0] == file_names(["x", "a/b"])[1]
