"""Text fits its width, whatever the letters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.cli.text import Column, block, columns_of, pad, plain, table, wrap

WORDS = st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=60)


def test_wide_letters_count_two_and_marks_none():
    assert columns_of("kale") == 4
    assert columns_of("小松菜") == 6
    assert columns_of("a\u0301") == 1


def test_a_text_from_a_file_cannot_move_the_cursor():
    assert plain("a\x1b[31mb\r\nc") == "a [31mb  c"


@given(WORDS, st.integers(20, 60))
def test_wrapped_lines_fit_and_lose_no_letter(text, width):
    lines = wrap(text, width, "    ", "  - ")
    assert all(columns_of(each) <= width for each in lines)
    found = "".join(each[4:] for each in lines)
    assert "".join(found.split()) == "".join(plain(text).split())


def test_wrapping_keeps_every_word_in_order():
    text = "one two three four five six seven eight nine ten"
    assert " ".join(" ".join(wrap(text, 16)).split()) == text


def test_a_word_that_is_too_long_is_broken():
    assert wrap("abcdefghij", 4) == ["abcd", "efgh", "ij"]


def test_an_empty_text_is_one_empty_line():
    assert wrap("", 20) == [""]


def test_padding_counts_columns():
    assert pad("菜", 4) == "菜  "
    assert pad("7", 3, right=True) == "  7"
    assert pad("long", 2) == "long"


COLUMNS = (Column("name", flexible=True, least=6), Column("n", right=True), Column("note"))


def test_numbers_stand_to_the_right_and_blank_columns_are_left_out():
    lines = table(COLUMNS, [("leek", "1,200", ""), ("kale", "80", "")])
    assert lines == ["name      n", "leek  1,200", "kale     80"]


def test_a_flexible_column_gives_way():
    lines = table(COLUMNS, [("a long name of a sowing", "12", "note")], 24)
    assert all(columns_of(each) <= 24 for each in lines)
    words = [word for each in lines[1:] for word in each.split()]
    assert [each for each in words if each not in {"12", "note"}] == [
        "a",
        "long",
        "name",
        "of",
        "a",
        "sowing",
    ]


@given(st.lists(st.tuples(WORDS, WORDS, WORDS), max_size=5))
def test_tables_never_pass_the_width(rows):
    assert all(columns_of(each) <= 50 for each in table(COLUMNS, rows, 50, "  "))


@pytest.mark.parametrize(("lines", "n"), [([], 0), (["a"], 3)])
def test_a_block_without_lines_is_nothing(lines, n):
    assert len(block("Title", lines)) == n
