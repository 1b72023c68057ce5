"""The gate from data to the screen lets nothing through that a terminal or a parser would obey."""

import itertools
import re
import unicodedata

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from textual.content import Content

from faulttree.screen.text import (
    clean,
    clip,
    ends,
    fold,
    left,
    line,
    paragraph,
    right,
    width,
    wrap,
)


def test_an_escape_is_shown_as_a_sign():
    """A terminal escape in data becomes visible signs instead of a command."""
    assert clean("\x1b[31mred\x07") == "␛[31mred␇"


def test_c1_controls_and_delete_are_shown():
    """Eight-bit controls and DEL, which some terminals obey, become visible."""
    assert clean("a\x9bb\x7f") == "a<9B>b␡"


def test_turned_and_hidden_text_is_shown():
    """Characters that reverse or hide text become visible, so that a label cannot lie."""
    assert clean("ab\u202ecd\u200b") == "ab<202E>cd<200B>"


def test_markup_stays_text():
    """Square brackets in data are shown as they are, whatever they spell."""
    for hostile in (
        "40 [kPa]",
        "[bold red]x[/]",
        "[/",
        "[@click=app.quit]quit[/]",
        "\\[x]",
        "$error",
    ):
        assert line(hostile).plain == hostile
        assert line(hostile).spans == []


def test_line_ends_are_kept_only_where_asked():
    """A title stays on one line; a paragraph keeps its lines."""
    assert line("one\ntwo\r\nthree").plain.count("\n") == 0
    assert paragraph("one\r\ntwo\rthree").plain == "one\ntwo\nthree"


def test_piled_up_marks_are_held():
    """A letter keeps a few combining marks and loses the tower above them."""
    assert len(clean("e" + "\u0301" * 50)) == 5


@given(st.text())
def test_nothing_that_passes_is_a_control(text):
    """Whatever goes in, no control, format, surrogate or separator character comes out."""
    bad = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    assert not [c for c in clean(text) if unicodedata.category(c) in bad]
    assert set("".join(clean(text, lines=True).split("\n"))).isdisjoint(
        c for c in text if unicodedata.category(c) in bad
    )


@given(st.text(), st.integers(1, 60))
def test_clipped_text_fits(text, cells):
    """Clipped text takes at most, and padded text exactly, the cells that it was given."""
    assert cell_len(clip(text, cells)) <= cells
    assert cell_len(left(text, cells)) == cells
    assert cell_len(right(text, cells)) == cells


@given(st.text(), st.text(), st.integers(4, 60))
def test_ends_fill_a_line(start, end, cells):
    """Two texts at either end of a line never overrun it."""
    assert cell_len(ends(start, end, cells)) <= cells


@given(st.text(alphabet="abc de\n", max_size=200), st.integers(2, 30))
def test_wrapping_loses_no_word(text, cells):
    """Wrapped lines fit, and hold the same letters in the same order."""
    rows = wrap(text, cells)
    assert all(cell_len(row) <= cells for row in rows)
    assert "".join("".join(rows).split()) == "".join(text.split())


def test_a_wide_character_is_never_halved():
    """A character two cells wide is left out rather than cut in two."""
    assert clip("漢字漢字", 4) == "漢…"


@given(st.lists(st.sampled_from(["27 %", "4 %;", "rose", "to", "a", "gasket,"]), min_size=1))
def test_folding_keeps_a_figure_with_its_per_cent_sign(words):
    """Folded text has the same words in rows that fit, and no row begins with a per cent sign."""
    folded = fold(Content(" ".join(words)), 12)
    rows = folded.plain.split("\n")
    assert " ".join(rows) == " ".join(words)
    assert all(width(row) <= 12 and not row.startswith("%") for row in rows)
    # Full rows: the next word would not have fitted.
    for row, after in itertools.pairwise(rows):
        first = re.match(r"\S+(?: %\S*)*", after)
        assert width(f"{row} {first[0]}") > 12


def test_folding_keeps_styles_on_their_words():
    """A break takes the place of a space, so that what was bold stays bold."""
    folded = fold(line("one two ", ("three four", "bold"), " five"), 9)
    assert folded.plain == "one two\nthree\nfour five"
    (span,) = folded.spans
    assert folded.plain[span.start : span.end] == "three\nfour"
