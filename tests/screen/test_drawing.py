"""What is drawn from characters and said in words: bars, scales, plots, routes, chances."""

import math
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from faulttree.scorer.explain import Conflict
from faulttree.screen import draw
from faulttree.screen.cards import (
    card_body,
    cause_rows,
    dangers,
    doubts,
    last_reading,
    moves_words,
    settles_line,
    steps,
)
from faulttree.screen.text import width
from faulttree.screen.wording import (
    chance_words,
    figure_shown,
    figures_words,
    move_words,
    percent,
    weight_words,
)
from faulttree.screen.work import Advised, Reckoned, Standing, Work
from faulttree.session.entry import parse_spec
from faulttree.session.events import ReadingTaken
from faulttree.trade.units import ReadingError
from faulttree.tree.car import describe_car
from faulttree.tree.graph import next_on_route
from faulttree.tree.model import Spec

CHANCES = st.floats(0.0, 1.0)


@example(0.002, 32)
@given(CHANCES, st.integers(1, 40))
def test_a_bar_keeps_to_its_cells(share, cells):
    """A bar fills exactly its cells, and anything above nothing can be seen."""
    drawn = draw.bar(share, cells)
    assert len(drawn) == cells
    assert bool(drawn.strip()) == (share > 0.002)


@given(CHANCES, CHANCES)
def test_a_longer_bar_means_more(one, other):
    """Of two shares the larger never has the shorter bar."""

    def length(share):
        return sum(draw.EIGHTHS.index(char) for char in draw.bar(share, 10))

    if one <= other:
        assert length(one) <= length(other)


@example(0.0, 4.0, [0.0, 2.3e-307], 20)
@given(
    st.floats(-1e6, 1e6),
    st.floats(0, 1e3),
    st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=4, unique=True),
    st.integers(20, 120),
)
def test_a_scale_fits_and_points_at_its_figure(value, spread, limits, cells):
    """A scale takes its cells, and the figure stands in it or an arrow at the end where it lies."""
    limits = sorted(limits)
    bands = [f"b{n}" for n in range(len(limits) + 1)]
    line, names = draw.scale(value, spread, limits, bands, "b0", cells)
    assert width(line.plain) == cells
    assert width(names.plain) == cells
    assert sum(line.plain.count(sign) for sign in "▼◀▶") == 1


def test_a_scale_tells_where_the_figure_lies():
    """Below the lower limit the mark stands left of it, beyond the end an arrow says so."""
    bands = ["low", "in limits", "high"]
    line, names = draw.scale(34.0, 1.2, (36.0, 44.0), bands, "in limits", 60)
    assert line.plain.index("▼") < line.plain.index("┼36")
    assert names.plain.split() == ["low", "✓", "in", "limits", "high"]
    assert draw.scale(400.0, 1.0, (36.0, 44.0), bands, "in limits", 60)[0].plain[-1] == "▶"
    assert draw.scale(-9.0, 1.0, (36.0, 44.0), bands, "in limits", 60)[0].plain[0] == "◀"


@given(
    st.lists(st.lists(CHANCES, min_size=5, max_size=5), min_size=1, max_size=4),
    st.integers(12, 80),
    st.integers(3, 12),
)
def test_a_plot_keeps_to_its_frame(rows, cells, height):
    """A plot has its height, no line is wider than it may be, and the last chances are on it."""
    lines = draw.plot([(str(n), row) for n, row in enumerate(rows)], cells, height)
    assert len(lines) == height
    assert all(width(line.plain) <= cells for line in lines)
    assert "1" in "".join(line.plain[6:] for line in lines)


def test_a_plot_shows_what_rises():
    """The mark of a cause that rises ends higher than it began."""
    lines = [line.plain for line in draw.plot([("x", [0.1, 0.5, 0.9])], 40, 7)]
    rows = [at for at, line in enumerate(lines) if "1" in line[6:]]
    columns = [lines[at].index("1", 6) for at in rows]
    assert columns == sorted(columns, reverse=True)
    assert lines[0].startswith("100 %")


def test_a_route_shows_the_way_first(knowledge):
    """What was read comes first, then the next step with the bands that leave it, then the rest."""
    car = describe_car(knowledge, "van")
    step = next_on_route(knowledge, "idle", {"idle-look": "hunting"}, car)
    lines = draw.route_lines(knowledge, knowledge.trees["idle"], step)
    assert (lines[0].mark, lines[0].words) == (draw.READ, "Idle watched: hunting")
    assert (lines[1].mark, lines[1].words) == (draw.NEXT, "Manifold vacuum at idle")
    assert lines[2].words == "low       → suspect: Air leak after the throttle"
    names = [line.words for line in lines if line.depth == 0]
    assert len(names) == len(set(names))


def test_every_test_of_a_route_is_drawn_once(knowledge):
    """A whole route names every test that it asks for, once as a step."""
    tree = knowledge.trees["idle"]
    steps_drawn = [line.words for line in draw.route_lines(knowledge, tree) if line.depth == 0]
    assert sorted(steps_drawn) == sorted(knowledge.tests[test].name for test in tree.route)


def test_a_test_ahead_that_does_not_fit_the_car_is_no_way_to_go(knowledge):
    """Ahead of the next step, what does not fit the car says so and has no bands to follow."""
    tree = knowledge.trees["idle"]
    unfit = knowledge.tests["fuel-pressure"]
    lines = draw.route_lines(knowledge, tree, fits=lambda test: test is not unfit)
    at = [line.words for line in lines].index(f"{unfit.name}: not on this car")
    assert lines[at].depth == 0
    assert at + 1 == len(lines) or lines[at + 1].depth == 0


def test_steps_keep_their_numbers_and_little_tables():
    """Continued lines are joined, numbers stand out, rows of a little table stay rows."""
    written = (
        "1. Hot engine,\n   loads off.\n"
        "2. Compare:\n   high    above\n   low     below\n"
        "3. Note it."
    )
    rows = [row.plain for row in steps(written, 60)]
    assert rows == [
        "1. Hot engine, loads off.",
        "2. Compare:",
        "   high    above",
        "   low     below",
        "3. Note it.",
    ]
    assert steps("1. " + "word " * 30, 20)[1].plain.startswith("   word")


@given(st.text(max_size=80), st.integers(20, 100))
def test_steps_fit_their_width(written, cells):
    """No line of the steps is wider than the card."""
    assert all(width(row.plain) <= cells for row in steps(written, cells))


def test_what_a_test_settles_keeps_its_figures():
    """When room is short the name gives way, never the figures."""
    said = "low (22 %): Weak fuel pump or low supply voltage at the pump 22 % -> 71 %"
    short = settles_line(said, 44)
    assert short.endswith("22 % → 71 %")
    assert short.startswith("if low (22 %): Weak")
    assert width(short) <= 44
    assert settles_line("something else", 30) == "something else"
    long = "flicks irregularly (25 %): Spark plugs worn or fouled 36 % -> 53 %"
    assert settles_line(long, 44) == "if flicks ir… (25 %): Spark plu… 36 % → 53 %"
    short = "uneven (10 %): Valve burnt or leaking 10 % -> 51 %"
    assert settles_line(short, 37) == "if uneven (10 %): Valve… 10 % → 51 %"
    ruled_out = settles_line("right (96 %): rules out Plug leads fitted in the wrong order", 40)
    assert ruled_out == "if right (96 %): rules out Plug leads f…"


@given(CHANCES)
def test_a_chance_is_never_falsely_certain(chance):
    """Nothing is called 0 % or 100 % that is not, and the words agree with the number."""
    assert (percent(chance) == "0 %") == (chance == 0.0)
    assert (percent(chance) == "100 %") == (chance == 1.0)
    assert chance_words(chance)


@given(CHANCES, CHANCES)
def test_a_move_says_which_way(before, after):
    """Rose, fell or no change, as the shown figures say."""
    said = move_words(before, after)
    if percent(before) == percent(after):
        assert said == "= no change"
    else:
        assert said.startswith("▲ rose" if after > before else "▼ fell")


@pytest.mark.parametrize(
    ("decibans", "words"),
    [
        (0.0, "says nothing"),
        (3.0, "somewhat for"),
        (-7.0, "clearly against"),
        (12.0, "strongly for"),
        (-25.0, "almost proof of the contrary"),
    ],
)
def test_weights_have_words(decibans, words):
    """A weight of evidence is said in words that grow with it."""
    assert weight_words(decibans) == words


def test_rough_figures_and_conflicts_are_said():
    """What the scorer has to say about its own figures is put before the technician."""
    rough = Reckoned(3, exact=False, omitted=0.04)
    clash = Advised(3, conflict=Conflict(4.0, "x", True, "The readings do not fit together."))
    said = "\n".join(row.plain for row in doubts(rough, clash))
    assert "Rough figures" in said
    assert "4 % is left out" in said
    assert "The readings do not fit together." in said
    assert doubts(Reckoned(3), Advised(3)) == []


@pytest.mark.parametrize(
    ("spec", "typed", "value"),
    [
        (Spec("order", "Firing order", is_list=True), "1-3-4-2", (1, 3, 4, 2)),
        (Spec("banks", "Banks", is_list=True), "1 3 5 | 2 4 6", ((1, 3, 5), (2, 4, 6))),
        (Spec("banks", "Banks", is_list=True), "1 2 3 4", ((1, 2, 3, 4),)),
        (Spec("kind", "Kind", choices=("a", "b")), "b", "b"),
        (Spec("count", "Count", unit=""), "6", 6.0),
    ],
)
def test_figures_are_read_as_they_are_written(spec, typed, value):
    """Lists of cylinders, banks, choices and counts are read from what people type."""
    assert parse_spec(spec, typed) == value


def test_a_figure_with_another_unit_is_converted():
    """A pressure typed in psi lands in the spec's own unit (1 psi is 6.894 757 kPa, SP 811)."""
    value = parse_spec(Spec("p", "Pressure", unit="kPa", possible=(20, 500)), "40 psi")
    assert math.isclose(value, 275.79028, rel_tol=1e-6)


@pytest.mark.parametrize("typed", ["1-3-3-2", "0-1", "a b", "1;DROP", ""])
def test_no_list_of_cylinders(typed):
    """What is no list of cylinders is refused with what to write instead."""
    with pytest.raises(ReadingError, match="cylinder"):
        parse_spec(Spec("order", "Firing order", is_list=True), typed)


def test_a_figure_is_shown_in_the_unit_that_was_typed(knowledge):
    """A figure that a sum put into another unit is told as the instrument shows it."""
    test = knowledge.tests["manifold-vacuum"]
    part = test.reading.parts[0]
    brought = replace(test, reading=replace(test.reading, parts=(part,), figure_unit="kPa"))
    event = ReadingTaken("manifold-vacuum", figure=60.0, unit="kPa")
    # 1 inHg is 3.386 389 kPa: NIST SP 811 (2008), table B.8 (conventional).
    assert figure_shown(event, brought) == f"{60 / 3.386389:.4g} inHg"
    assert figure_shown(event, None) == "60 kPa"
    assert figure_shown(ReadingTaken("manifold-vacuum"), brought) == ""


def _standing(*chances: tuple[float, float]) -> Reckoned:
    """Causes by their chance before and now."""
    return Reckoned(
        1,
        tuple(Standing(f"c{at}", f"cause {at}", now, was) for at, (was, now) in enumerate(chances)),
    )


def test_what_moved_most_comes_first_and_small_moves_are_told_by_one():
    """Big moves are told largest first, without the small ones; where all are small, one is."""
    big = _standing((0.30, 0.33), (0.10, 0.40), (0.051, 0.062))
    assert moves_words(big, 3, 80) == ["cause 1 rose 10 % to 40 %", "cause 0 rose 30 % to 33 %"]
    small = _standing((0.051, 0.058), (0.071, 0.084))
    assert moves_words(small, 3, 80) == ["cause 1 rose 7 % to 8 %"]
    assert moves_words(_standing((0.101, 0.104)), 3, 80) == []


def test_before_anything_is_read_no_cause_says_that_it_did_not_move():
    """Before the first reading the causes stand without a move."""
    (row,) = cause_rows(_standing((0.2, 0.2)), 4, 76, moves=False)
    assert "no change" not in row.plain
    (row,) = cause_rows(_standing((0.2, 0.2)), 4, 76)
    assert "= no change" in row.plain


@pytest.mark.parametrize("band", ["low", "as good as nothing at all"])
def test_the_last_reading_takes_one_row_where_it_can(knowledge, band):
    """The name of the test gives way where the row would break, as long as it can be told."""
    reading = ReadingTaken("idle-look", choice=band, bands={band: 0.9, "steady": 0.1})
    said = last_reading(reading, knowledge, 78, "g").plain
    assert said.startswith("Last: Idle watched: ✗ ")
    long = replace(
        knowledge, tests={"idle-look": replace(knowledge.tests["idle-look"], name="N" * 90)}
    )
    shown = last_reading(reading, long, 78, "g").plain
    assert shown.endswith(f"…: ✗ {band}, 90 % sure.")
    assert width(shown) == 78


def test_the_figures_that_the_steps_ask_for_stand_on_the_card(knowledge, work):
    """Each with where it comes from; one that is not known says so."""
    test = replace(knowledge.tests["idle-look"], figures=("fuel_pressure", "firing_order", "gone"))
    assert figures_words(test, work.car, knowledge) == [
        "Fuel pressure 275.79 kPa, the car's file",
        "Firing order 1-3-4-2, the car's file",
        "gone not known, see the book",
    ]
    shown = card_body(work, test, 76).plain
    assert shown.startswith("This car: Fuel pressure 275.79 kPa, the car's file; ")


def test_what_a_complaint_warns_of_stands_on_every_card(knowledge, work):
    """A caution of the complaint that asks for no answer is told with those of the test, once."""
    tree = replace(knowledge.trees["idle"], cautions=("hot-parts",))
    warned = replace(knowledge, trees={**knowledge.trees, "idle": tree})
    held = Work(warned, work.state, "sam")
    for test in ("compression", "idle-look"):
        shown = card_body(held, warned.tests[test], 76).plain
        assert shown.count("Hot parts burn the skin.") == 1
        (row,) = dangers(held, warned.tests[test], 76)
        assert "hot parts" in row.plain
