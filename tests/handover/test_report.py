"""The report says everything a colleague needs, and what data says stays data."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from markdown_it.token import Token

from faulttree.handover import report as report_module
from faulttree.handover.blocks import Facts, Heading, Paragraph, Table, plain_line
from faulttree.handover.html import to_html
from faulttree.handover.markdown import escape, to_markdown
from faulttree.handover.report import report
from faulttree.scorer.evidence import Entry
from faulttree.scorer.explain import percent
from faulttree.session.chances import Reckoning, before_readings, reckon
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    ComplaintChecked,
    ComplaintTaken,
    Noted,
    Repaired,
    SpecGiven,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.moves import Command, TakeReading
from faulttree.session.state import State
from faulttree.session.words import part_words
from faulttree.trade.units import convert
from faulttree.tree.model import Knowledge

Played = Callable[[Sequence[Command]], State]


def reader() -> MarkdownIt:
    """An independent reader of Markdown, with everything that common sites turn on."""
    made = MarkdownIt("commonmark", {"html": True, "linkify": True})
    return made.enable(["table", "strikethrough", "linkify"])


def inline(tokens: Sequence[Token]) -> list[Token]:
    """All inline tokens of a text."""
    return [child for token in tokens for child in token.children or []]


def section(text: str, title: str) -> str:
    """The part of a report under a heading of the second level."""
    _, _, rest = text.partition(f"\n## {title}\n")
    assert rest, f"there is no part called {title}"
    return rest.partition("\n## ")[0]


def entry(text: str, number: int) -> str:
    """What a report says of one entry."""
    _, _, rest = text.partition(f"Entry {number}, ")
    assert rest, f"there is no entry {number}"
    return rest.partition("\n### ")[0]


# --- what it says ------------------------------------------------------------------------------


def test_complaint_with_answers(open_text: str) -> None:
    """The complaint stands with the driver's words, the answers, and whether it was seen."""
    part = section(open_text, "The complaint")
    for line in (
        "### Idle is unsteady",
        "- The driver says: shakes at the lights",
        "- How often: often",
        "- Seen before work began: yes",
        "- Hot or cold? hot",
    ):
        assert line in part.splitlines()


def test_spec_values_say_where_they_came_from(open_text: str) -> None:
    """Every spec that a limit stood on is there with its origin; unknown ones are named."""
    part = section(open_text, "The car")
    assert "Blue estate" in part
    assert "Typed in this session (maker's handbook):\n\n- Fuel pressure: 44 psi\n" in part
    assert "- Fuel gauge" not in part
    assert "- Vacuum gauge: 15 shown was 17 true, against a new gauge" in part


def test_a_generic_figure_is_called_one(played: Played, knowledge: Knowledge) -> None:
    """A generic figure is never taken for the maker's."""
    commands: list[Command] = [
        ComplaintTaken("unsteady"),
        TakeReading("compression", "150 150 150 150", Entry({"value": (150.0,) * 4})),
    ]
    text = to_markdown(report(played(commands), knowledge))
    assert "Generic figures, not the maker's:\n\n- Cylinders: 4\n" in text
    assert "Not known for this car: Firing order, Banks." in text


def test_a_reading_in_full(open_text: str) -> None:
    """A reading shows typed, shown, true, figure, limits, certainty, and what it did."""
    lines = entry(open_text, 7).splitlines()
    assert lines[0] == "Manifold vacuum: low"
    for line in (
        "- Typed: 12,5",
        "- Shown: 12.5 inHg",
        "- True, after correction of the instrument: 14.5 inHg",
        "- Limits: low below 16 inHg, in limits above 16 inHg",
        "- Complaint showing: yes",
        "- Chosen by: the advice",
    ):
        assert line in lines
    (sure,) = [line for line in lines if line.startswith("- How sure: ")]
    assert sure == "- How sure: low ≥99 %"
    (did,) = [line for line in lines if line.startswith("- What it did: ")]
    assert "Air leak rose from" in did


def test_figures_have_the_digits_of_a_gauge(played: Played, knowledge: Knowledge) -> None:
    """A figure typed in another unit does not come out finer than a gauge can show."""
    taken = TakeReading("pressure", "2,75 bar", Entry({"value": (convert(2.75, "bar", "psi"),)}))
    read_it = CautionAcknowledged("petrol", "test", "pressure", "understood")
    state = played([ComplaintTaken("unsteady"), read_it, taken])
    text = to_markdown(report(state, knowledge))
    assert "- Typed: 2,75 bar" in text
    assert "- Shown: 39.89 psi" in text
    assert "39.88 " not in text
    assert "39.8854" not in text


def test_what_nobody_looked_at_is_not_called_seen(played: Played, knowledge: Knowledge) -> None:
    """A default whose source is a look at the car is called assumed, not seen."""
    specs = dict(knowledge.specs)
    specs["cylinders"] = replace(specs["cylinders"], source="seen on the car")
    taken = TakeReading("compression", "150 150 150 150", Entry({"value": (150.0,) * 4}))
    state = played([ComplaintTaken("unsteady"), taken])
    text = to_markdown(report(state, replace(knowledge, specs=specs)))
    assert "Assumed, to be checked on the car:\n\n- Cylinders: 4\n" in text


def test_a_source_is_said_once_and_only_what_differs_is_marked(
    played: Played, knowledge: Knowledge
) -> None:
    """Figures stand under where they came from; a book that differs stands behind its figure."""
    commands: list[Command] = [
        ComplaintTaken("unsteady"),
        SpecGiven("firing_order", (1, 3, 4, 2), "1-3-4-2", "the valve cover"),
        SpecGiven("cylinders", 4.0, "4", "counted"),
        SpecGiven("fuel_pressure", 44.0, "44 psi", "counted"),
        TakeReading("compression", "150 150 150 150", Entry({"value": (150.0,) * 4})),
    ]
    part = section(to_markdown(report(played(commands), knowledge)), "The car")
    assert (
        "Typed in this session:\n\n"
        "- Fuel pressure: 44 psi (counted; no limit stands on it)\n"
        "- Cylinders: 4 (counted)\n"
        "- Firing order: 1-3-4-2 (the valve cover)\n"
    ) in part
    order = SpecGiven("firing_order", (1, 3, 4, 2), "1-3-4-2", "counted")
    same: list[Command] = [commands[0], order, commands[2], commands[4]]
    part = section(to_markdown(report(played(same), knowledge)), "The car")
    assert "Typed in this session (counted):\n\n- Cylinders: 4\n" in part
    assert part.count("counted") == 1


@pytest.mark.parametrize(
    ("part", "said"), [("co2", "CO2"), ("hc", "HC"), ("hose_on", "hose on"), ("before", "before")]
)
def test_parts_are_named_as_the_trade_writes_them(part: str, said: str) -> None:
    """Gases stand in capitals, other names without the signs of a file."""
    assert part_words(part) == said


def test_limits_stand_on_specs(open_text: str) -> None:
    """A limit that depends on the car names the spec, its value and its origin."""
    lines = entry(open_text, 13).splitlines()
    assert "- Limits: low below 40 psi, in limits from 40 psi to 48 psi, high above 48 psi" in lines
    assert "- Stands on: Fuel pressure 44 psi, typed in this session (maker's handbook)" in lines


def test_readings_in_order(open_text: str) -> None:
    """Readings and notes stand in the order in which they were taken."""
    part = section(open_text, "What was done, in order")
    places = [part.index(f"Entry {number}, ") for number in (5, 6, 7, 8, 9, 11, 12, 13)]
    assert places == sorted(places)


def test_what_was_taken_as_typed_is_said_once(open_text: str) -> None:
    """A reading that was typed as it is shown has no second line for it."""
    seen = entry(open_text, 5)
    assert "- Seen: hunting" in seen
    assert "- Typed: " not in seen


def test_a_look_that_changes_little_is_called_no_reading(
    played: Played, knowledge: Knowledge
) -> None:
    """Where no chance moves much, a look for the complaint is not called a reading."""
    gone = ComplaintChecked("unsteady", "gone")
    commands: list[Command] = [ComplaintTaken("unsteady"), Repaired("air-leak"), gone, gone]
    text = to_markdown(report(played(commands), knowledge))
    assert "- What it did: This changed little." in entry(text, 5).splitlines()
    assert "This reading" not in text


def test_withdrawn_entries_are_marked(open_text: str, played: Played) -> None:
    """A withdrawn entry is still told, struck, with who took it back and why."""
    assert "### ~~Entry 11, Fuel pressure: low~~" in open_text
    assert "- Withdrawn: by entry 12: gauge not bled. It counts for nothing." in open_text
    assert "What it did" not in entry(open_text, 11).partition("Entry 12")[0]


def test_withdrawn_entries_count_for_nothing(played: Played, knowledge: Knowledge) -> None:
    """The chances of a report are the same as if a withdrawn reading had never been."""
    taken = TakeReading("vacuum", "12", Entry({"value": (12.0,)}))
    with_it: list[Command] = [ComplaintTaken("unsteady"), taken, Withdrawn(3, "wrong")]
    without: list[Command] = [ComplaintTaken("unsteady")]
    parts = [
        section(to_markdown(report(played(commands), knowledge)), "The causes and their chances")
        for commands in (with_it, without)
    ]
    assert parts[0] == parts[1]


def test_what_could_not_be_done(open_text: str) -> None:
    """A test that could not be done stands with its reason."""
    part = section(open_text, "What could not be done")
    assert "| Compression | no gauge in the shop |" in part


def test_causes_with_their_chances(
    open_text: str, played: Played, open_commands: list[Command], knowledge: Knowledge
) -> None:
    """Causes stand highest first with their chance before and after, as the scorer has them."""
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in section(open_text, "The causes and their chances").splitlines()
        if line.startswith("| ")
    ]
    assert rows[0] == ["Cause", "Before any reading", "Present when it came in", "Present now"]
    assert rows[2][0] == "Air leak"
    state = played(open_commands)
    reckoning = reckon(state, knowledge)
    assert rows[2][3] == percent(reckoning.now["air-leak"])
    assert rows[2][1] == percent(before_readings(reckoning)["air-leak"])
    assert reckoning.now["air-leak"] > before_readings(reckoning)["air-leak"] + 0.1


def test_approximate_is_said(
    played: Played, knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the scorer could not count everything, the report says so, and how much is left out."""

    def rough(state: State, shelf: Knowledge) -> Reckoning:
        exact = reckon(state, shelf)
        assert exact.posterior is not None
        return replace(exact, posterior=replace(exact.posterior, exact=False, omitted=0.03))

    state = played([ComplaintTaken("unsteady")])
    assert "approximate" not in to_markdown(report(state, knowledge))
    monkeypatch.setattr(report_module, "reckon", rough)
    text = to_markdown(report(state, knowledge))
    assert "**These chances are approximate" in text
    assert "about 3 %" in text


def test_repair_and_proof(finished_text: str) -> None:
    """The repair stands with what was done, and before beside after."""
    assert "| 14 | Air leak | hose renewed | 25 |" in section(finished_text, "Repairs")
    proof = section(finished_text, "Before and after")
    assert "| Watch the idle | hunting | steady | better |" in proof
    assert "| Idle is unsteady | present | gone | better |" in proof
    (vacuum,) = [line for line in proof.splitlines() if line.startswith("| Manifold vacuum")]
    assert "14.5 ± 0.58 inHg: low" in vacuum
    assert "18 ± 0.58 inHg: in limits" in vacuum
    assert vacuum.endswith("| better |")


def test_proof_over_two_repairs_says_when_each_was_read(
    played: Played, knowledge: Knowledge
) -> None:
    """What was read between two repairs stands as that, and never as read after the last."""

    def read(test: str, figure: float) -> TakeReading:
        return TakeReading(test, str(figure), Entry({"value": (figure,)}))

    def look(seen: str) -> TakeReading:
        return TakeReading("idle-look", seen, Entry(choice=seen))

    commands: list[Command] = [
        ComplaintTaken("unsteady"),
        look("hunting"),
        read("vacuum", 12.0),
        Repaired("air-leak"),
        look("low"),
        read("vacuum", 18.0),
        Repaired("worn-rings"),
    ]
    part = section(to_markdown(report(played(commands), knowledge)), "Before and after")
    lines = part.splitlines()
    assert (
        "| Watch the idle | hunting | not read again, low between repairs 1 and 2 | not repeated |"
    ) in lines
    (vacuum,) = [line for line in lines if line.startswith("| Manifold vacuum")]
    assert "| 18 ± 0.58 inHg: in limits between repairs 1 and 2 | better |" in vacuum
    assert "| Idle is unsteady | present | not looked for again | not repeated |" in lines


def test_state_in_short(open_text: str, finished_text: str) -> None:
    """The head says how things stand: likeliest causes while open, confirmed ones when closed."""
    assert "- State: open, work goes on" in open_text
    assert "- Most likely present now: Air leak" in open_text
    assert "- State: closed: cured" in finished_text
    assert "- Confirmed cause: Air leak" in finished_text
    assert "- Complaint: Idle is unsteady: gone" in finished_text
    assert "Most likely present now" not in finished_text


def test_what_remains(open_text: str, finished_text: str) -> None:
    """What remains to be done is there, with what was written at closing."""
    assert "The complaint has not been cured: Idle is unsteady." in section(
        open_text, "What remains to be done"
    )
    assert "Check the belt at the next service." in section(
        finished_text, "What remains to be done"
    )


def test_cautions(open_text: str, played: Played, knowledge: Knowledge) -> None:
    """Open cautions are set off, those that stop the work named as such, answered ones listed."""
    part = section(open_text, "Cautions")
    assert "**Still open: nobody acknowledged these.**" in part
    assert "- Idle is unsteady: A road test takes eyes off the road. Two people." in part
    assert "Petrol burns. Ventilate. Answered for: Fuel pressure (understood, A. Tester)" in part
    stop = CautionAcknowledged("stop-hybrid", "test", "sensor", "does not apply")
    text = to_markdown(report(played([ComplaintTaken("unsteady"), stop]), knowledge))
    assert "STOPS THE WORK. Orange cables kill. Hand over." in section(text, "Cautions")
    assert "does not apply" in section(text, "Cautions")


def test_an_answer_given_for_many_tests_is_said_once(played: Played, knowledge: Knowledge) -> None:
    """Who answered a caution and how stands once behind all tests that it was answered for."""
    commands: list[Command] = [
        ComplaintTaken("unsteady"),
        CautionAcknowledged("petrol", "test", "pressure", "understood"),
        CautionAcknowledged("petrol", "cause", "weak-pump", "understood"),
    ]
    part = section(to_markdown(report(played(commands), knowledge)), "Cautions")
    assert "Answered for: Fuel pressure; Weak pump (understood, A. Tester)" in part


def test_it_certifies_nothing(open_text: str) -> None:
    """The report says that it records and does not certify, and what stands above it."""
    part = section(open_text, "What this report is")
    assert "It certifies nothing" in part
    assert "local law" in part
    assert "licensed practice" in part


def test_damage_is_said_first(played: Played, knowledge: Knowledge) -> None:
    """A report from a damaged log says so at once."""
    text = to_markdown(report(played([ComplaintTaken("unsteady")]), knowledge, "line 9 is torn"))
    assert text.splitlines()[2] == "**The log of this session is damaged: line 9 is torn.**"


def test_a_session_with_nothing_in_it(played: Played, knowledge: Knowledge) -> None:
    """A session that was only opened has a report too; no session has none."""
    text = to_markdown(report(played([]), knowledge))
    assert "No complaint was taken down." in text
    with pytest.raises(ValueError, match="no session"):
        report(State(), knowledge)


def test_unexplained_readings_are_said(
    played: Played, knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When nothing explains the readings the report says that, instead of chances."""

    def nothing(state: State, shelf: Knowledge) -> Reckoning:
        return replace(reckon(state, shelf), posterior=None, trouble="Nothing explains this.")

    monkeypatch.setattr(report_module, "reckon", nothing)
    text = to_markdown(report(played([ComplaintTaken("unsteady")]), knowledge))
    assert "**Nothing explains this.**" in section(text, "The causes and their chances")


# --- what data may not do ----------------------------------------------------------------------

HOSTILE = [
    "# a heading",
    "- an item",
    "1. an item",
    "1) an item",
    "> a quote",
    "---",
    "===",
    "***",
    "```",
    "~~~",
    "    code",
    "*em* **strong** _em_ __strong__",
    "~~struck~~",
    "`code`",
    "[link](http://example.org)",
    "![image](http://example.org/x.png)",
    "[ref][1]",
    "[1]: http://example.org",
    "<http://example.org>",
    "http://example.org/path?x=1",
    "HTTPS://EXAMPLE.ORG",
    "www.example.org",
    "mailto:someone@example.org someone@example.org",
    "<script>alert(1)</script>",
    "<b>bold</b> <!-- comment -->",
    "<!-- ",
    "&lt;b&gt; &amp; &#60; &copy;",
    "a | b | c",
    "| --- | --- |",
    "\\*not em\\*",
    "trailing backslash \\",
    "first\n\nsecond\n# third",
    "\x1b[31mred\x1b[0m \x07 \x9b31m",
    "right \u202e to left \u2066x",
    "\ufeff\u200bhidden",
    "line\u2028separator",
    "$x^2$ $$y$$",
    "40 [kPa] at 3*4 & 5 < 6 > 4",
    "+ plus",
    "+5 mm",
    "-10 deg",
    "!",
    "|",
]


def seen(tokens: Sequence[Token]) -> str:
    """What a reader sees of a text, in one line."""
    parts = [
        token.content
        for token in inline(tokens)
        if token.type in ("text", "text_special", "code_inline", "html_inline")
    ]
    return " ".join("".join(parts).split())


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_shown_as_it_is(text: str) -> None:
    """An independent reader of Markdown sees the characters of a text and nothing else."""
    for form in (Paragraph(text), Facts((("", text),)), Heading(2, text)):
        tokens = reader().parse(to_markdown([form]))
        kinds = {token.type for token in tokens} | {token.type for token in inline(tokens)}
        assert kinds <= {
            "paragraph_open",
            "paragraph_close",
            "bullet_list_open",
            "bullet_list_close",
            "list_item_open",
            "list_item_close",
            "heading_open",
            "heading_close",
            "inline",
            "text",
            "text_special",
        }
        assert seen(tokens) == plain_line(text)


@given(st.text(max_size=40))
def test_any_text_is_shown_as_it_is(text: str) -> None:
    """Whatever a text holds, it reads the same, and nothing in it becomes markup."""
    tokens = reader().parse(to_markdown([Facts((("", f"x {text} x"),))]))
    assert {token.type for token in inline(tokens)} <= {"text", "text_special"}
    assert seen(tokens) == plain_line(f"x {text} x")


@given(st.lists(st.text(max_size=12), min_size=2, max_size=4))
def test_any_text_keeps_to_its_cell(cells: list[str]) -> None:
    """A table has as many cells as were put in, whatever is in them."""
    head = tuple(f"column {number}" for number in range(len(cells)))
    tokens = reader().parse(to_markdown([Table(head, (tuple(cells),))]))
    assert sum(token.type == "td_open" for token in tokens) == len(cells)
    assert sum(token.type == "tr_open" for token in tokens) == 2


@given(st.text())
def test_nothing_steers_a_terminal(text: str) -> None:
    """No control, turning or invisible character is left, and everything is in one line."""
    assert all(c.isprintable() for c in escape(text))
    assert "\n" not in escape(text)


class Page(HTMLParser):
    """An independent look at a page: its tags, and its text outside the head."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[str] = []
        self.texts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag and its attributes."""
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]

    def handle_data(self, data: str) -> None:
        """Note a text."""
        self.texts.append(data)


@given(st.one_of(st.sampled_from(HOSTILE), st.text(max_size=40)))
def test_any_text_is_text_in_html(text: str) -> None:
    """A page has the tags of its form and no others, and shows the text as it is."""
    blocks = [
        Heading(1, text, True),
        Paragraph(text, True),
        Facts(((text, text), ("", text))),
        Table((text,), ((text,),)),
    ]
    page = Page(to_html(blocks, text))
    tags = "html head meta meta meta title style body h1 s p strong ul li li table tr th tr td"
    assert " ".join(page.tags) == tags
    assert set(page.attributes) <= {"lang", "charset", "http-equiv", "content", "name"}
    clean = plain_line(text)
    if clean:
        assert [found for found in page.texts if found == clean][:6] == [clean] * 6


def test_both_forms_say_the_same(played: Played, knowledge: Knowledge) -> None:
    """What stands in a report's blocks stands in the page and in the Markdown alike."""
    blocks = report(
        played([ComplaintTaken("unsteady", "shakes", {"Hot or cold?": "hot"})]), knowledge
    )
    page = "".join(Page(to_html(blocks, "x")).texts)
    markdown = to_markdown(blocks)
    for text in ("The driver says: shakes", "Hot or cold? hot", "It certifies nothing"):
        assert text in page
        assert text in markdown


def test_hostile_session(played: Played, knowledge: Knowledge) -> None:
    """Hostile texts in every field of a session leave the report's form as it is."""
    nasty = "\x1b[2J# <script>x</script> | *a* [b](http://c.de)\n## Not a part\n- no item"
    commands: list[Command] = [
        VehicleDescribed(None, nasty, {}, nasty),
        ComplaintTaken("unsteady", nasty, {nasty: nasty}, "yes", nasty),
        TakeReading("vacuum", nasty, Entry({"value": (12.0,)})),
        CannotDo("compression", nasty),
        Noted(nasty),
        Repaired("air-leak", nasty, 5),
        Withdrawn(7, nasty),
    ]
    text = to_markdown(report(played(commands), knowledge))
    assert "\x1b" not in text
    tokens = reader().parse(text)
    kinds = {token.type for token in tokens} | {token.type for token in inline(tokens)}
    assert not kinds & {"html_block", "html_inline", "link_open", "image", "em_open", "code_block"}
    headings = [
        tokens[at + 1].content
        for at, token in enumerate(tokens)
        if token.type == "heading_open" and token.tag == "h2"
    ]
    assert "Not a part" not in headings
    assert headings[0] == "The complaint"
