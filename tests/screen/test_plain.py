"""The walk line by line takes a car in, reads it, repairs, proves and closes, and loses nothing."""

import os
import select
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.screen.plain import resume_plain, run_plain
from faulttree.screen.plain.talk import Talk, aloud, answer_prompt, matching, whole_steps
from faulttree.screen.plain.walk import COMMANDS
from faulttree.session.events import (
    CannotDo,
    CautionAcknowledged,
    Closed,
    ComplaintTaken,
    InstrumentChecked,
    Repaired,
    RouteLeft,
    SpecGiven,
    VehicleDescribed,
)
from faulttree.session.journal import open_journal, read

SHOP = Path(__file__).parent / "shop"
BEGUN = ["1", "1", "It hunts", "Both", "", "", "yes"]
"""A complaint, the van, what the driver says, two questions, how often, and whether it was seen."""


class Terminal:
    """Answers prompts from a list, then ends like a closed pipe; keeps all that was said."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.said = []
        self.prompts = []

    def ask(self, prompt):
        """The next answer, as `input` would give it."""
        self.prompts.append(prompt)
        if not self.answers:
            raise EOFError
        return self.answers.pop(0)

    def say(self, line):
        """Keep a line that was said."""
        self.said.append(line)

    @property
    def text(self):
        """All that was said."""
        return "\n".join(self.said)


def _run(sessions, *answers, trees=(), vehicle=None):
    terminal = Terminal(*answers)
    code = run_plain(SHOP, sessions, trees, vehicle, "sam", ask=terminal.ask, say=terminal.say)
    return code, terminal


def _record(sessions):
    (path,) = sessions.glob("*.jsonl")
    return read(path)


def _events(sessions, kind):
    return [e.event for e in _record(sessions).envelopes if isinstance(e.event, kind)]


def test_a_whole_session_from_the_complaint_to_the_close(sessions):
    """Intake, route, repair, proof and close go by lines alone, and the log holds all of it."""
    code, terminal = _run(
        sessions,
        *BEGUN,
        "",  # the route: watch the idle
        "2",  # hunting
        "yes",
        "route",
        "12 inHg",
        "yes",
        "",  # the route suspects the leak
        "Hose renewed",
        "25",
        "",  # the idle again
        "steady",
        "no",
        "",  # vacuum again
        "18 inHg",
        "no",
        "",  # the road test
        "1",
        "no",
        "",  # the complaint
        "gone",
        "Ten minutes on the road",
        "close",
        "cured",
        "",  # the leak was really it
        "",  # and nothing else
        "Look again in a month",
        trees=(),
    )
    assert code == 0
    assert not terminal.answers
    state = _record(sessions).state
    assert [fact.event.test for fact in state.readings[:2]] == ["idle-look", "manifold-vacuum"]
    assert [fact.event.taken_as for fact in state.readings[:2]] == ["route", "route"]
    assert state.readings[1].event.values == {"value": (12.0,)}
    assert state.readings[1].event.band == "low"
    assert [fact.event.done for fact in state.repairs] == ["Hose renewed"]
    assert state.repairs[0].event.minutes == 25
    assert state.closed.event == Closed("cured", ("air-leak",), "Look again in a month")
    complaint = state.complaint("idle")
    assert (complaint.said, complaint.showing) == ("It hunts", "yes")
    assert complaint.answers == {"Hot, cold or both?": "Both"}
    assert "Idle watched: before hunting, after steady: better." in terminal.text
    assert "Idle wanders: before present, after gone: better." in terminal.text


def test_route_and_advice_are_said_with_the_causes(sessions):
    """Every turn says the likeliest causes, what the route asks for, and what the advice is."""
    _, terminal = _run(sessions, *BEGUN)
    assert "Likeliest causes:" in terminal.said
    assert "Route: Idle watched, 5 min, nothing opened." in terminal.said
    assert any(line.startswith("Advice: ") for line in terminal.said)
    _, terminal = _run(sessions / "two", *BEGUN, "", "hunting", "yes")
    assert any("Air leak" in line and "rose from" in line for line in terminal.said)
    assert "That is because Idle watched read hunting." in terminal.said


def test_where_things_stand_is_said_once_and_on_request(sessions):
    """What does not change is not said again after every command; `look` says it again."""
    _, terminal = _run(sessions, *BEGUN, "bogus", "back", "k")
    assert terminal.said.count("Route: Idle watched, 5 min, nothing opened.") == 1
    _, terminal = _run(sessions / "two", *BEGUN, "bogus", "look", "n", "a note")
    assert terminal.said.count("Route: Idle watched, 5 min, nothing opened.") == 2
    assert terminal.said.count("Likeliest causes:") == 2
    _, terminal = _run(sessions / "three", *BEGUN, "x", "no time", "q")
    assert terminal.said.count("Likeliest causes:") == 1
    assert sum(line.startswith("Route: ") for line in terminal.said) == 2


def test_either_route_can_go_first(sessions):
    """With two complaints each route is said with its complaint, and either can be followed."""
    intake = ["1,2", "1", *[""] * 9]
    _, terminal = _run(sessions, *intake, "r", "2", "stumbles", "yes", "q")
    assert not terminal.answers
    assert any(line.startswith("Route for Stumbles as the throttle") for line in terminal.said)
    (fact,) = _record(sessions).state.readings
    assert (fact.event.test, fact.event.taken_as) == ("tip-in", "route")
    assert not _events(sessions, RouteLeft)


def test_end_of_input_keeps_everything_that_was_confirmed(sessions):
    """When the input ends in the middle of a test, all before it is saved and can be resumed."""
    code, terminal = _run(sessions, *BEGUN, "", "hunting", "yes", "")
    assert code == 0
    path = _record(sessions).path
    assert [fact.event.test for fact in _record(sessions).state.readings] == ["idle-look"]
    assert f"Go on with: faulttree resume --plain {path}" in terminal.said
    again = Terminal("", "12 inHg", "yes", "q")
    assert resume_plain(path, "sam", ask=again.ask, say=again.say) == 0
    assert [fact.event.test for fact in read(path).state.readings] == [
        "idle-look",
        "manifold-vacuum",
    ]
    assert any(line.startswith("Everything is saved in") for line in again.said)


def test_what_was_typed_outlives_a_disk_that_takes_nothing(sessions):
    """When a session cannot be begun, the reason is said and it is tried again with all answers."""
    sessions.write_text("a file where the folder is wanted")

    class Mending(Terminal):
        def ask(self, prompt):
            if prompt.startswith("Try again?"):
                sessions.unlink()
            return super().ask(prompt)

    terminal = Mending(*BEGUN, "yes", "q")
    assert run_plain(SHOP, sessions, who="sam", ask=terminal.ask, say=terminal.say) == 0
    assert any("the session cannot be begun" in line for line in terminal.said)
    assert _events(sessions, ComplaintTaken)


@pytest.mark.parametrize("answer", [["no"], []])
def test_a_session_that_cannot_be_begun_gives_one(sessions, answer):
    """Where nothing can be written, giving up or the end of the input is told by the exit code."""
    sessions.write_text("a file where the folder is wanted")
    code, terminal = _run(sessions, *BEGUN, *answer)
    assert code == 1
    assert any("the session cannot be begun" in line for line in terminal.said)


def test_leaving_before_the_session_begins_writes_nothing(sessions):
    """The end of the input during the intake leaves no file behind."""
    code, terminal = _run(sessions, "1", "1")
    assert code == 0
    assert terminal.said[-1] == "Left. No session was begun."
    assert not sessions.exists()


def test_a_question_is_heard_before_its_answers(sessions):
    """Whoever listens hears what is asked, then the answers, and at last a short prompt."""

    class Listener(Terminal):
        def ask(self, prompt):
            self.said.append(prompt)
            return super().ask(prompt)

    terminal = Listener(*BEGUN, "", "hunting", "", "fix", "back", "driver", "back", "close", "back")
    run_plain(SHOP, sessions, (), None, "sam", ask=terminal.ask, say=terminal.say)
    said = terminal.said
    for question, answers, prompt in (
        ("What does the driver complain of?", 2, "Type numbers, or words to search for: "),
        ("Which car is it?", 2, "Answer: "),
        ("How often is it there?", 4, "Answer, or your own words (Enter: not known): "),
        ("Did you see the complaint before work began?", 3, "Answer (Enter: not known): "),
        ("What did you find?", 3, "Answer: "),
        (
            "Was the complaint showing, which matters here? Type back to take the reading back.",
            3,
            "Answer (Enter: not known): ",
        ),
        ("What is to be put right?", 5, "Answer: "),
        ("Which line is to be changed?", 6, "Answer (Enter: none): "),
        ("How did it come out?", 4, "Answer: "),
    ):
        at = said.index(question)
        numbers = [line.split(".")[0] for line in said[at + 1 : at + 1 + answers]]
        assert numbers == [str(number) for number in range(1, answers + 1)], question
        assert said[at + 1 + answers] == prompt, question


def test_a_long_answer_that_enter_gives_is_told_by_its_number(sessions):
    """What Enter does is said at the prompt, without a long name that was just heard."""
    intake = ["1,2", "1", *[""] * 9]
    _, terminal = _run(sessions, *intake, "r", "back", "q")
    assert "Answer (Enter: Idle watched): " in terminal.prompts
    assert answer_prompt([("a", "Idle watched for a whole minute"), ("b", "no")], "a") == (
        "Answer (Enter: 1):"
    )
    assert answer_prompt([("a", "Idle watched for a whole minute"), ("b", "no")], "b") == (
        "Answer (Enter: no):"
    )
    assert answer_prompt([("a", "yes"), ("b", "no")]) == "Answer:"


def test_help_at_a_question_says_it_again(sessions):
    """After the help, question and answers are heard once more: nobody keeps them in his head."""
    _, terminal = _run(sessions, "1", "?")
    assert terminal.said.count("Which car is it?") == 2
    assert terminal.said.count("1. Grey van, two litre four") == 2


def test_a_word_inside_an_answer_chooses_it(sessions):
    """An answer can be typed by any word of it, as long as only one has that word."""
    _run(sessions, "1", "VAN", "skip", "q")
    assert _record(sessions).state.vehicle.event.vehicle == "van"
    _, terminal = _run(sessions / "two", "1", "r", "other")
    assert "r: that is no answer here. Type a number from 1 to 2." in terminal.said
    assert terminal.prompts[-1].startswith("What shall it be called?")


def test_no_other_cause_can_be_said_in_words(sessions):
    """Asked whether another cause was found, `no` says none and searches for nothing."""
    handed_on = ["close", "handed on", "no", ""]
    _, terminal = _run(sessions, *BEGUN, *handed_on)
    assert not terminal.answers
    assert _record(sessions).state.closed.event.causes == ()
    assert "no: nothing answers that." not in terminal.said


def test_signs_of_a_title_and_of_a_reading_are_said_in_words(sessions):
    """No plus, dash or equals sign is left for a voice where words say it."""
    _, terminal = _run(
        sessions,
        "1,2",
        "1",
        "skip",
        "t",
        "vacuum",
        "1",
        "12 inHg",
        "",
        "entries",
        "undo",
        "no",
        "q",
    )
    title = "Idle wanders and Stumbles as the throttle opens, Grey van"
    assert f"Session: {title}" in terminal.said
    assert f"Entry 1: Opened: {title}." in terminal.said
    assert "Manifold vacuum at idle: 12 inHg, which is low." in terminal.text
    assert "The last entry: Manifold vacuum at idle: 12 inHg, which is low" in terminal.text
    assert " = " not in terminal.text


def test_every_prompt_gives_help_and_goes_back(sessions):
    """`?` says what is wanted at each prompt and asks again; `back` goes to the prompt before."""
    answers = ["?", "1", "?", "1", "?", "It hunts", "?", "back", "It stalls", "", "", "?", "no"]
    _, terminal = _run(sessions, *answers, "?", "", "?", "back", "q")
    helped = [line for line in terminal.said if line.endswith("Type back to go one step back.")]
    assert len(helped) == 7
    for name, key, about in COMMANDS:
        assert f"{name} or {key}: {about}." in terminal.said
    assert "Back at the walk." in terminal.said
    assert _record(sessions).state.complaint("idle").said == "It stalls"
    assert not _record(sessions).state.readings


def test_back_in_the_intake_reaches_the_first_question(sessions):
    """Going back from the car asks for the complaint again; back from there leaves."""
    code, terminal = _run(sessions, "1", "back", "back")
    assert code == 0
    asked = [line for line in terminal.said if "complain of" in line]
    assert len(asked) == 2
    assert len(set(asked)) == 1
    assert not sessions.exists()


def test_given_complaint_and_car_are_not_asked(sessions):
    """What the command line names is not asked again."""
    _, terminal = _run(sessions, "It hunts", trees=("idle",), vehicle="van")
    assert terminal.prompts[0].startswith("What does the driver say?")


def test_several_complaints_are_taken_at_once(sessions):
    """Numbers with commas take several complaints; words find a complaint by what drivers say."""
    _, terminal = _run(sessions, "stumbling", "bogs down", "1,2", "1", *[""] * 9)
    assert "2. Stumbles as the throttle opens, as drivers say: It bogs down when I pull away" in (
        terminal.said
    )
    assert "stumbling: nothing answers that" not in terminal.text
    assert _record(sessions).state.trees == ("idle", "stumble")


def test_cautions_are_answered_before_the_reading(sessions):
    """A caution is said in full and answered before the steps; the answer is in the log."""
    _, terminal = _run(sessions, *BEGUN, "t", "prime", "1", "1", "33 psi", "")
    said = terminal.text
    assert said.index("Caution: Petrol burns.") < said.index("Fit the gauge, ignition on")
    (answer,) = _events(sessions, CautionAcknowledged)
    assert (answer.caution, answer.id, answer.answer) == ("petrol", "fuel-pressure", "understood")
    (left,) = _events(sessions, RouteLeft)
    assert (left.at_step, left.to) == ("idle-look", "fuel-pressure")


def test_a_danger_is_said_in_full_once_then_by_its_first_words(sessions):
    """A caution heard before is named and can be heard again; its answer is asked all the same."""
    _, terminal = _run(
        sessions, *BEGUN, "t", "prime", "1", "1", "33 psi", "", "again", "danger", "33 psi", "", "q"
    )
    petrol = [line for line in terminal.said if line.startswith("Caution: Petrol burns.")]
    assert len(petrol) == 2  # in full at first, and when asked for
    assert "Caution, as before: Petrol burns. Type danger to hear it in full." in terminal.said
    assert len(_record(sessions).state.readings) == 2
    path = _record(sessions).path
    again = Terminal("again", "q")
    resume_plain(path, "sam", ask=again.ask, say=again.say)
    assert any(line.startswith("Caution: Petrol burns.") for line in again.said)


def test_dangers_answered_before_are_named_in_one_line(tmp_path):
    """On a repeat nobody must hear a line for every danger; one tells them all."""
    trees = Path(__file__).parents[2] / "trees"
    answers = ["5", "1", "skip", "1", "", "1", "1", "1", "steady", "", "again", "q"]
    terminal = Terminal(*answers)
    run_plain(trees, tmp_path, who="sam", ask=terminal.ask, say=terminal.say)
    (line,) = [line for line in terminal.said if line.startswith("Cautions, as before: ")]
    assert "Carbon monoxide has no smell; Belts, pulleys and fans take fingers" in line
    assert line.endswith("Type danger to hear them in full.")


def test_a_danger_that_stops_the_work_is_always_said_in_full(sessions):
    """However often it comes up, what stops the work is never shortened to its name."""
    _, terminal = _run(sessions, *BEGUN, "t", "gas", "1", "back", "t", "gas", "1", "back", "q")
    assert sum(line.startswith("Caution: Gas under pressure.") for line in terminal.said) == 2


def test_steps_heard_before_are_said_again_on_request(sessions):
    """A repeat spares the listener the steps; `steps` says them."""
    _, terminal = _run(sessions, *BEGUN, "", "hunting", "", "again", "steps", "hunting", "", "q")
    assert "The steps are as before. Type steps to hear them." in terminal.said
    assert terminal.said.count("Do this:") == 2


def test_steps_call_a_figure_as_it_is_asked_for(tmp_path):
    """No name of a file is read out in the steps: they speak as the question does."""
    terminal = Terminal("skip", *["1"] * 6, "t", "regulator hose comes off", *["1"] * 5, "back")
    trees = Path(__file__).parents[2] / "trees"
    run_plain(
        trees,
        tmp_path,
        ("idle-unsteady",),
        "camper-four",
        "sam",
        ask=terminal.ask,
        say=terminal.say,
    )
    assert "hose_on" not in terminal.text
    assert "(hose on)" in terminal.text


@pytest.mark.parametrize("at", range(5))
def test_one_word_skips_the_rest_of_the_interview(sessions, at):
    """`skip` at any of the driver's questions leaves the rest unknown and keeps what was said."""
    _, terminal = _run(sessions, *BEGUN[: 2 + at], "skip", "q")
    assert not terminal.answers
    (complaint,) = _events(sessions, ComplaintTaken)
    assert complaint.showing == "unknown"
    assert complaint.said == ("It hunts" if at else "")
    assert complaint.answers == ({"Hot, cold or both?": "Both"} if at > 1 else {})


def test_a_report_that_lies_there_already_is_not_written_over_unasked(sessions):
    """Somebody may have written into a report: only a yes writes over it."""
    _run(sessions, *BEGUN, "q")
    path = _record(sessions).path
    report = path.with_suffix(".md")
    report.write_text("my own words")
    for answer, kept in (("", True), ("yes", False)):
        terminal = Terminal("handover", answer, "handover", "q")
        if kept:
            terminal.answers = ["handover", answer, "q"]
        resume_plain(path, "sam", ask=terminal.ask, say=terminal.say)
        assert not terminal.answers
        assert (report.read_text() == "my own words") is kept


def test_complaints_are_numbered_with_commas_or_spaces(sessions):
    """Two numbers are two complaints, whatever stands between them."""
    for at, typed in enumerate(("1, 2", "1 2")):
        _run(sessions / str(at), typed, "1", "skip", "q")
        assert len(_record(sessions / str(at)).state.trees) == 2


def test_a_word_finds_no_more_than_can_be_listened_to():
    """Of many names that answer a word the best are said, and that there are more."""
    options = [(str(n), f"pump {n}") for n in range(30)]
    terminal = Terminal("pump", "30", "2")
    assert Talk(terminal.ask, terminal.say).find("Which?", options) == "1"
    assert "21 more answer that, less well." in terminal.said
    assert "Type a number from 1 to 9, or another word." in terminal.said


def test_a_caution_that_stops_the_work_cannot_be_waved_through(sessions):
    """Where the work must stop, `understood` is not offered, and back records nothing."""
    _, terminal = _run(sessions, *BEGUN, "t", "gas", "1", "understood", "back", "q")
    assert "understood: that is no answer here. Type a number from 1 to 2." in terminal.said
    assert not _events(sessions, CautionAcknowledged)
    assert not _record(sessions).state.readings


def test_only_a_caution_that_stops_the_work_can_be_none_of_this_car(sessions):
    """A danger that every car has is not put off as one that this car has nothing of."""
    _, terminal = _run(sessions, *BEGUN, "t", "prime", "1", "of the kind", "1", "back", "q")
    assert "this car has nothing of the kind" not in terminal.text
    told = "of the kind: that is no answer here. Type a number from 1 to 2."
    assert told in terminal.said
    (answer,) = _events(sessions, CautionAcknowledged)
    assert answer.answer == "understood"
    _, terminal = _run(sessions / "gas", *BEGUN, "t", "gas", "1", "of the kind", "back", "q")
    (answer,) = _events(sessions / "gas", CautionAcknowledged)
    assert (answer.caution, answer.answer) == ("stop-gas-fuel", "does not apply")


def test_a_reading_that_makes_no_sense_is_asked_again(sessions):
    """A word, another kind of unit and too few figures are refused with what to write."""
    _, terminal = _run(
        sessions, *BEGUN, "t", "compression", "1", "abc", "150 psi", "150, 148, 95, 151 psi", "yes"
    )
    assert not terminal.answers
    (fact,) = _record(sessions).state.readings
    assert fact.event.values == {"value": (150.0, 148.0, 95.0, 151.0)}
    assert fact.event.band == "one low"


def test_a_figure_that_the_limits_need_is_asked_for(sessions):
    """On a car whose limit is not known, the maker's figure is asked for and the reading kept."""
    _, terminal = _run(
        sessions,
        "1",
        "another",
        "Red hatchback",
        *["not known", ""],
        *["", "", "", "", ""],
        *["", "hunting", "yes"],
        *["", "12 inHg"],
        *["nonsense", "55 kPa", "the book"],
        "yes",
    )
    assert not terminal.answers
    assert any(line.startswith("The limits are not known:") for line in terminal.said)
    (given,) = _events(sessions, SpecGiven)
    assert (given.spec, given.value, given.source) == ("idle_vacuum_low", 55.0, "the book")
    # 12 inHg are 40.6 kPa (1 inHg = 3.386 kPa, NIST SP 811), which is below 55.
    assert _record(sessions).state.readings[-1].event.band == "low"
    assert _record(sessions).state.opened.title == "Idle wanders - Red hatchback"


def test_cannot_note_why_and_undo(sessions):
    """A test that cannot be done, a note, an explanation and an undo work by their words."""
    _, terminal = _run(
        sessions,
        *BEGUN,
        "x",
        "no gauge here",
        "n",
        "Smells of petrol",
        "undo",
        "yes",
        "",
        "1",  # the caution of the next test
        "cannot",
        "gauge broken",
        "why",
        "1",
        "q",
    )
    assert not terminal.answers
    assert [(event.test, event.reason) for event in _events(sessions, CannotDo)] == [
        ("idle-look", "no gauge here"),
        ("fuel-pressure", "gauge broken"),
    ]
    assert _record(sessions).state.notes == ()
    assert "The last entry: Note: Smells of petrol." in terminal.said
    assert any(line.startswith("With the complaint alone:") for line in terminal.said)


def test_a_cure_without_proof_is_not_closed(sessions):
    """Closing as cured before the complaint is found gone is refused, and the walk goes on."""
    _, terminal = _run(sessions, *BEGUN, "close", "cured", "back", "q")
    assert any("Nothing was repaired, so nothing was cured." in line for line in terminal.said)
    assert _record(sessions).state.is_open


def test_the_report_is_said_and_written(sessions):
    """The report is read out and lies beside the log."""
    _, terminal = _run(sessions, *BEGUN, "handover", "q")
    written = _record(sessions).path.with_suffix(".md")
    assert written.read_text().startswith("# ")
    assert f"Written: {written}" in terminal.said


def test_hostile_text_has_no_power(sessions):
    """Escapes in what was typed are not sent back to the terminal."""
    _, terminal = _run(sessions, *BEGUN, "n", "\x1b[2Jgone\u202e", "u", "no", "\x1b]0;x\x07", "q")
    assert "The last entry: Note: [2Jgone." in terminal.said
    assert all(line.isprintable() for line in (*terminal.said, *terminal.prompts))


def test_a_session_that_is_held_or_missing_is_said(sessions, tmp_path):
    """A session in use elsewhere, or none at all, ends with the reason and code 1."""
    _run(sessions, *BEGUN, "q")
    path = _record(sessions).path
    terminal = Terminal()
    with open_journal(path, "ann"):
        assert resume_plain(path, "sam", ask=terminal.ask, say=terminal.say) == 1
    assert "ann" in terminal.text
    assert resume_plain(tmp_path / "no.jsonl", ask=terminal.ask, say=terminal.say) == 1


def test_the_lock_is_let_go(sessions):
    """After leaving, another program can write to the session."""
    _run(sessions, *BEGUN, "q")
    open_journal(_record(sessions).path, "ann").close()


# --- one reading -------------------------------------------------------------------------------


def test_a_reading_is_read_back_before_it_is_recorded(sessions):
    """The band and how sure it is are said first; back then records nothing and asks anew."""
    _, terminal = _run(
        sessions, *BEGUN, "t", "prime", "1", "1", "330 kPa", "back", "33 psi", "yes", "q"
    )
    assert not terminal.answers
    said = terminal.text
    assert said.index("That reads high") < said.index("Taken back; nothing was recorded.")
    assert said.index("That reads low") < said.index("Recorded: Fuel pressure at prime: low")
    (fact,) = _record(sessions).state.readings
    assert fact.event.values == {"value": (33.0,)}


def test_a_reading_near_a_limit_and_a_repeat_are_said(sessions):
    """Near a limit a second reading is advised, and readings of one test are counted together."""
    _, terminal = _run(
        sessions, *BEGUN, "t", "vacuum", "1", "15.8 inHg", "", "again", "15.2 inHg", ""
    )
    assert "It is near a limit." in terminal.said
    assert "Taken before, and counted together with it: 15.8 inHg." in terminal.said
    assert any(
        line.startswith("Counted with the one before, that reads low") for line in terminal.said
    )
    assert _record(sessions).state.readings[1].event.repeat_of == (
        _record(sessions).state.readings[0].sequence,
    )


def test_another_instrument_and_its_correction(sessions):
    """The gauge in use is chosen at the reading, its known error is typed in, and both count."""
    _, terminal = _run(
        sessions,
        *[*BEGUN, "t", "prime", "1", "1"],
        *["gauge", "Old", "30", "36", "the good gauge", "40 psi", "46 psi", "", ""],
        *["33 psi", "yes", "q"],
    )
    assert not terminal.answers
    (fact,) = _record(sessions).state.readings
    assert fact.event.instruments == {"value": "old-gauge"}
    # Between 30 shown = 36 true and 40 shown = 46 true, 33 shown is 39 true.
    assert fact.event.values == {"value": (33.0,)}
    assert fact.event.true_values == {"value": (pytest.approx(39.0),)}
    assert fact.event.band == "in limits"
    checks = _events(sessions, InstrumentChecked)
    assert [(one.instrument, one.shown, one.true) for one in checks] == [
        ("old-gauge", 30.0, 36.0),
        ("old-gauge", 40.0, 46.0),
    ]
    assert checks[0].against == "the good gauge"
    assert "Corrected for the instrument: 39 psi." in terminal.said
    assert any("Read with: Old gauge from the shelf" in line for line in terminal.said)


def test_an_instrument_is_checked_from_the_walk(sessions):
    """An instrument known to be out is written down before any test; impossible points are not."""
    _, terminal = _run(
        sessions, *BEGUN, "i", "vacuum", "1", "18", "17", "", "20", "15", "", "", "q"
    )
    assert not terminal.answers
    (point,) = _events(sessions, InstrumentChecked)
    assert (point.instrument, point.shown, point.true) == ("vacuum-gauge", 18.0, 17.0)
    assert any("do not agree" in line for line in terminal.said)


@pytest.mark.parametrize(
    "typed",
    [
        ["150; 148; 95; 151"],
        ["order", "150 95 151 148 psi"],
        ["", "150", "148", "950", "back", "95", "151"],
        ["order", "", "150", "95 psi", "x", "151", "148"],
        ["order", "order", "150, 148, 95, 151"],
    ],
    ids=["at once", "firing order", "one by one", "one by one in firing order", "and back"],
)
def test_cylinders_in_number_order_and_in_firing_order(sessions, typed):
    """However the figures of the cylinders are given, each lands at its own cylinder."""
    _, terminal = _run(sessions, *BEGUN, "t", "compression", "1", *typed, "yes", "q")
    assert not terminal.answers
    (fact,) = _record(sessions).state.readings
    assert fact.event.values == {"value": (150.0, 148.0, 95.0, 151.0)}
    assert any("Lowest 95 at cylinder 3, highest 151 at cylinder 4" in s for s in terminal.said)


def test_order_needs_a_firing_order(sessions):
    """Without a firing order of that many cylinders, number order stays and the reason is said."""
    intake = ["1", "another", "Six", "", "cylinders", "1", "6", "", ""]
    _, terminal = _run(
        sessions, *intake, *[""] * 5, "t", "compression", "1", "order", "1 2 3 4 5 6", "yes", "q"
    )
    assert any("The firing order of this car is not known" in line for line in terminal.said)


def test_a_figure_that_cannot_be_is_asked_about_once(sessions):
    """What no test of its kind can read is asked about; no takes it back, yes records it so."""
    _, terminal = _run(
        sessions, *BEGUN, "t", "prime", "1", "1", "300 psi", "no", "200 psi", "yes", "yes", "q"
    )
    assert not terminal.answers
    assert any("outside what this test can read" in line for line in terminal.said)
    (fact,) = _record(sessions).state.readings
    assert fact.event.values == {"value": (200.0,)}
    assert fact.event.outside


def test_an_unusual_figure_of_the_car_is_asked_about_once(sessions):
    """A figure outside its usual range is taken where it is said again, and marked."""
    _, terminal = _run(
        sessions,
        *BEGUN,
        *["figures", "fuel pressure", "1", "900 kPa", "no", "800 kPa", "yes", "the plate"],
        "q",
    )
    assert any(
        "800 kPa is outside the usual range (20 to 500 kPa)." in one for one in terminal.prompts
    )
    (given,) = _events(sessions, SpecGiven)
    assert (given.value, given.source, given.outside) == (800.0, "the plate", True)


def test_why_tells_where_a_repair_came_between(sessions):
    """What was read on the repaired car weighs otherwise, so the repair is said in its place."""
    _, terminal = _run(
        sessions,
        *BEGUN,
        *["", "2", "yes", "route", "12 inHg", "yes"],
        *["", "Hose renewed", "25", "", "hunting", "yes", "back"],
        *["why", "1", "q"],
    )
    told = [one for one in terminal.said if one.startswith(("Then repaired:", "Idle watched, "))]
    assert told[0].startswith("Idle watched, hunting:")
    assert told[1] == "Then repaired: Air leak after the throttle."
    assert told[2].startswith("Idle watched, hunting:")


def test_several_figures_go_back_one_by_one(sessions):
    """Among several figures back asks for the one before; the log has both by name."""
    _, terminal = _run(
        sessions,
        *[*BEGUN, "t", "regulator hose", "1", "1"],
        *["38 psi", "back", "40 psi", "46 psi", "yes", "q"],
    )
    assert not terminal.answers
    (fact,) = _record(sessions).state.readings
    assert fact.event.values == {"hose_on": (40.0,), "hose_off": (46.0,)}
    assert fact.event.typed == "hose_on=40 psi, hose_off=46 psi"


# --- the rest of a session ---------------------------------------------------------------------


def test_a_car_is_described_with_unknown_everywhere(sessions):
    """A car without a file is described as far as it is known; the rest stays unknown."""
    _, terminal = _run(
        sessions,
        *["1", "another", "Red hatchback", "carburettor"],
        *["firing", "1", "nonsense", "1-2-4-3", "its plate", ""],
        *["", "", "", "comes", "", "q"],
    )
    assert not terminal.answers
    state = _record(sessions).state
    assert state.vehicle.event == VehicleDescribed(None, "Red hatchback")
    given = {spec: fact.event.value for spec, fact in state.specs.items()}
    assert given == {"fuel_system": "carburettor", "firing_order": (1, 2, 4, 3)}
    assert state.specs["firing_order"].event.source == "its plate"
    assert state.complaint("idle").how_often == "comes and goes"
    _run(sessions / "two", "1", "another", *[""] * 8, "q")
    assert _record(sessions / "two").state.vehicle.event == VehicleDescribed(
        None, "Car without a name"
    )
    assert not _record(sessions / "two").state.specs


def test_a_repair_that_did_not_cure_and_a_second_that_did(sessions):
    """After a repair the complaint may still be there: then the walk goes on to a second one."""
    _, terminal = _run(
        sessions,
        *[*BEGUN, "", "2", "yes", "", "12 inHg", "yes"],
        *["fix", "Weak fuel pump", "1", "Pump renewed", "70"],
        *["", "clean", "no", "", "present", "Twice round the block"],
        *["fix", "Air leak", "", "", "back", "back"],
        *["proof", "", "steady", "", "", "18 inHg", "", "", "clean", "", "", "gone", ""],
        # A repair after which all stayed as it was is no cause unless somebody says so.
        *["close", "cured", "", "", "", "Come back in a month"],
    )
    assert not terminal.answers
    state = _record(sessions).state
    assert [fact.event.cause for fact in state.repairs] == ["pump-weak", "air-leak"]
    # Enter says that it was done as the card says; nobody said how long it took.
    assert (state.repairs[1].event.done, state.repairs[1].event.minutes) == ("", None)
    assert state.found() == {("idle", 0): "present", ("idle", 1): "present", ("idle", 2): "gone"}
    assert state.closed.event == Closed("cured", ("air-leak",), "Come back in a month")
    assert any(line.startswith("Still there: Idle wanders.") for line in terminal.said)
    assert "Advice: the complaint is gone. Type close to close the session." in terminal.said
    assert "Before the repair it read hunting." in terminal.said
    assert "Throttle opened on the road: not read before, now clean." in terminal.said
    # Between the repairs is neither before nor after.
    told = "before present, between repairs 1 and 2 present, not looked at since."
    assert f"Idle wanders: {told}" in terminal.said
    told = "between repairs 1 and 2 clean, not looked at again yet."
    assert f"Throttle opened on the road: {told}" in terminal.said
    # Nothing says that all is repeated beside a test that is still to come.
    done = terminal.text[terminal.text.index("All that the repair asks for is repeated.") :]
    assert " yet." not in done
    assert "Route" not in done
    path = _record(sessions).path
    assert f"Its report: faulttree handover --plain {path}" in terminal.said


def test_minutes_below_nought_lose_nothing_of_a_repair(sessions):
    """What was done stays when the minutes make no sense; they are asked for again."""
    code, terminal = _run(sessions, *BEGUN, "fix", "Air leak", "Hose renewed", "-5", "soon", "25")
    assert (code, terminal.answers) == (0, [])
    (repaired,) = _events(sessions, Repaired)
    assert (repaired.done, repaired.minutes) == ("Hose renewed", 25)
    assert "The minutes of a repair are a number, 0 or more." in terminal.said


def test_a_cause_that_was_not_repaired_can_be_named_at_the_close(sessions):
    """Handed on with the cause known: a cause that nobody repaired is confirmed by a word."""
    _, terminal = _run(sessions, *BEGUN, "close", "handed", "pump", "1", "", "Pump is on order")
    assert not terminal.answers
    assert _record(sessions).state.closed.event == Closed(
        "handed on", ("pump-weak",), "Pump is on order"
    )


def test_a_closed_session_is_reopened_only_if_wished(sessions):
    """Resuming a closed session asks; no and the end of the input leave it closed."""
    _run(sessions, *BEGUN, "close", "not found", "")
    path = _record(sessions).path
    for answers in ((), ("no",), ("",)):
        terminal = Terminal(*answers)
        assert resume_plain(path, "sam", ask=terminal.ask, say=terminal.say) == 0
        assert "It is closed: not found." in terminal.said
        assert not read(path).state.is_open
    terminal = Terminal("yes", "n", "Came back", "q")
    assert resume_plain(path, "sam", ask=terminal.ask, say=terminal.say) == 0
    assert read(path).state.is_open
    assert [fact.event.text for fact in read(path).state.notes] == ["Came back"]


def test_undo_of_a_reading_takes_the_left_route_along(sessions):
    """A reading that left the route is taken back together with the leaving, and both are said."""
    _, terminal = _run(sessions, *BEGUN, "t", "vacuum", "1", "12", "yes", "u", "yes", "q")
    assert not terminal.answers
    assert any(line.startswith("And with it: Left the route") for line in terminal.said)
    state = _record(sessions).state
    assert (state.readings, state.routes_left) == ((), ())


def test_what_the_driver_says_can_be_changed(sessions):
    """What was taken down of the complaint is said and changed line by line."""
    _, terminal = _run(
        sessions,
        *[*BEGUN, "driver", "1", "It stalls", "2", "1", "3", "no", "5", "Since May", "", "q"],
    )
    assert not terminal.answers
    taken = _record(sessions).state.complaint("idle")
    assert (taken.said, taken.how_often, taken.showing) == ("It stalls", "always there", "no")
    assert taken.answers == {"Hot, cold or both?": "Both", "Since when?": "Since May"}


def test_all_entries_are_said_with_what_was_taken_back(sessions):
    """The way so far is said entry by entry, and what counts no more is marked."""
    _, terminal = _run(sessions, *BEGUN, "n", "a slip", "u", "yes", "entries", "q")
    assert any(
        line.startswith("Entry ") and line.endswith("(taken back): Note: a slip.")
        for line in terminal.said
    )


def test_a_word_that_means_two_commands_is_asked_again(sessions):
    """An ambiguous beginning names what it may mean; other usual words find their command."""
    _, terminal = _run(sessions, *BEGUN, "c", "back", "ca", "report", "exit")
    assert "ca may be causes or cannot. Type more of it." in terminal.said
    assert _record(sessions).path.with_suffix(".md").exists()
    assert not terminal.answers


# --- how it is said ----------------------------------------------------------------------------


def test_the_report_is_said_in_sentences(sessions):
    """No table is read out as bars, no heading as signs: every row names its columns."""
    _, terminal = _run(sessions, *BEGUN, "", "hunting", "yes", "handover", "q")
    at = terminal.said.index("Handover: Idle wanders, Grey van.")
    report_said = terminal.said[at:]
    assert not any(line.startswith(("#", "|", "- ", "*")) for line in report_said)
    assert not any(".:" in line or ".." in line for line in report_said)
    assert any(
        line.startswith("Cause: Air leak after the throttle; Before any reading: ")
        for line in report_said
    )


def test_lines_break_between_words_where_the_terminal_ends():
    """On a terminal no word is cut in two; a path is left whole, and so is everything in a pipe."""
    words = "A driver who reads instruments does not see the road, and a car may stall in traffic."
    for width, most in ((lambda: 30, 29), (None, len(words))):
        terminal = Terminal("yes")
        talk = Talk(terminal.ask, terminal.say, width)
        talk.say(words)
        assert max(map(len, terminal.said)) <= most
        assert " ".join(terminal.said) == words
        talk.exact(words)
        assert terminal.said[-1] == words
        assert talk.line(words, "") == "yes"
        assert words.endswith(terminal.prompts[-1].strip())


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("each ≥ 75 % of highest", "each at least 75 % of highest"),
        ("<1 %, >99 %", "less than 1 %, more than 99 %"),
        ("33 ± 1.2 psi", "33 plus or minus 1.2 psi"),
        ("2 % -> >99 %", "2 % to more than 99 %"),
        ("weight +0.9, -3 dB, order 1-3-4-2", "weight plus 0.9, minus 3 dB, order 1-3-4-2"),
        ("\x1b[31mred\x1b[0m \u202eback", "[31mred[0m back"),
    ],
)
def test_signs_are_said_in_words(written, said):
    """What a voice passes over, or a serial line cannot show, is said in words."""
    assert aloud(written) == said


def test_a_path_is_said_as_it_must_be_typed(tmp_path):
    """What is to be typed again keeps its signs, and is quoted for a shell where need be."""
    folder = tmp_path / "bay 2 -> λ"
    _, terminal = _run(folder, *BEGUN, "q")
    path = _record(folder).path
    assert f"Everything is saved in {path}." in terminal.said
    assert f"Go on with: faulttree resume --plain '{path}'" in terminal.said


def test_what_is_said_is_plain_text_throughout(sessions):
    """A whole session says nothing but printable text, no drawing signs and no tables."""
    _, terminal = _run(
        sessions,
        *[*BEGUN, "?", "k", "w", "1", "", "2", "yes", "t", "compression", "1"],
        *["150; 148; 95; 151", "yes", "m", "h", "fix", "1", "", "back", "q"],
    )
    said = [*terminal.said, *terminal.prompts]
    assert len(said) > 80
    for line in said:
        assert line.isprintable()
        assert not set(line) & set("│─┌└├▲▼█▏✓✗≥≤±<>|\t"), line


ANYTHING = st.one_of(
    st.sampled_from([key for _, key, _ in COMMANDS if key != "q"]),
    st.sampled_from(["", "1", "2", "?", "back", "yes", "no", "cannot", "gauge", "order", "all"]),
    st.sampled_from(["12 inHg", "150; 148; 95; 151", "33 psi", "hunting", "gone", "cured", "-1e9"]),
    st.text(max_size=12),
)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(typed=st.lists(ANYTHING, max_size=60))
def test_nothing_that_is_typed_brings_it_down(tmp_path_factory, typed):
    """Whatever is typed, nothing fails, nothing steers the terminal, and the log stays sound."""
    folder = tmp_path_factory.mktemp("any") / "sessions"
    code, terminal = _run(folder, *BEGUN, *typed)
    assert code == 0
    assert all(line.isprintable() for line in (*terminal.said, *terminal.prompts))
    assert _record(folder).damage is None


@pytest.mark.parametrize("answers", [[], BEGUN, [*BEGUN, "", "hunting"]])
def test_ctrl_c_leaves_as_the_end_of_input_does(sessions, answers):
    """Ctrl+C at a prompt loses nothing that was confirmed, says how to go on, and gives 130."""

    class Interrupted(Terminal):
        def ask(self, prompt):
            if not self.answers:
                raise KeyboardInterrupt
            return super().ask(prompt)

    terminal = Interrupted(*answers)
    assert run_plain(SHOP, sessions, who="sam", ask=terminal.ask, say=terminal.say) == 130
    if not answers:
        assert terminal.said[-1] == "Left. No session was begun."
        return
    path = _record(sessions).path
    assert f"Go on with: faulttree resume --plain {path}" in terminal.said
    open_journal(path, "ann").close()


def test_steps_are_whole_lines():
    """A step broken for the width of its file is one line; a word is parted from its meaning."""
    written = "1. Hot engine,\n   loads off.\n2. Read it.\n- a  1\n- b  2\n"
    assert whole_steps(written).split("\n") == [
        "1. Hot engine, loads off.",
        "2. Read it.",
        "- a: 1",
        "- b: 2",
    ]


@pytest.mark.parametrize(
    ("typed", "ids"),
    [
        ("1", ["a"]),
        ("3", []),
        ("0", []),
        ("Lean", ["b"]),
        ("l", ["a", "b"]),
        ("LOW", ["a"]),
        ("", []),
    ],
)
def test_an_answer_is_found_by_number_or_words(typed, ids):
    """A number, the whole words, or an unambiguous beginning of them means one answer."""
    assert matching(typed, [("a", "low"), ("b", "lean mixture")]) == ids


def test_the_screens_are_not_needed():
    """The line-by-line walk loads nothing of the library that the screens need."""
    code = "import sys, faulttree.screen.plain; sys.exit('textual' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def _through_a_pipe(*arguments, typed, **environment):
    """The exit code, standard output and standard error, in bytes as they came."""
    done = subprocess.run(
        [sys.executable, "-m", "faulttree", *arguments],
        input=typed,
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), **environment},
    )
    return done.returncode, done.stdout, done.stderr


def _faulttree(*arguments, typed):
    code, out, err = _through_a_pipe(*arguments, typed=typed.encode(), PYTHONUTF8="1")
    return code, out.decode(), err.decode()


def test_the_command_line_walks_and_resumes_through_a_pipe(sessions):
    """`walk --plain` and `resume --plain` need no terminal: they read lines and write lines."""
    folders = ("--trees", str(SHOP), "--sessions", str(sessions))
    typed = "It hunts\n\n\n\n\nn\nSmells of petrol\n"
    code, out, err = _faulttree(
        "walk", "--plain", "idle", "--vehicle", "van", "--who", "sam", *folders, typed=typed
    )
    assert (code, err) == (0, "")
    assert "Likeliest causes:" in out
    path = _record(sessions).path
    assert [fact.event.text for fact in _record(sessions).state.notes] == ["Smells of petrol"]
    assert _record(sessions).envelopes[-1].who == "sam"
    code, out, err = _faulttree("resume", "--plain", path.name, *folders, typed="u\nyes\nq\n")
    assert (code, err) == (0, "")
    assert "Taken back." in out
    assert _record(sessions).state.notes == ()


def test_bytes_that_are_no_text_do_no_harm(sessions):
    """Noise from a serial line becomes question marks, and what follows is read."""
    folders = ("--trees", str(SHOP), "--sessions", str(sessions))
    typed = b"It hu\xff\xfents\n\n\n\n\nn\nA \xe2\x82 note\nq\n"
    walk = ("walk", "--plain", "idle", "--vehicle", "van")
    code, _, err = _through_a_pipe(*walk, *folders, typed=typed, PYTHONUTF8="1")
    assert (code, err) == (0, b"")
    (note,) = _record(sessions).state.notes
    assert note.event.text == "A \N{REPLACEMENT CHARACTER} note"


def test_an_old_locale_gets_plain_signs(sessions):
    """On a terminal that knows ASCII alone a whole walk is said without a traceback."""
    folders = ("--trees", str(SHOP), "--sessions", str(sessions))
    typed = b"H\xc3\xa4lt an\n\n\n\n\n\nhunting\n\nh\nq\n"
    walk = ("walk", "--plain", "idle", "--vehicle", "van")
    ascii_only = {"PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii", "PYTHONCOERCECLOCALE": "0"}
    code, out, err = _through_a_pipe(*walk, *folders, typed=typed, LC_ALL="C", **ascii_only)
    assert (code, err) == (0, b"")
    assert b"That reads hunting" in out
    assert out.isascii()


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(("key", "code"), [(b"\x03", 130), (b"\x04", 0)], ids=["ctrl-c", "ctrl-d"])
def test_a_real_terminal_gets_lines_and_no_escapes(sessions, key, code):
    """On a terminal nothing but lines is written; Ctrl+C and Ctrl+D leave with all of it saved."""
    import pty

    pid, terminal = pty.fork()
    if pid == 0:
        # Whoever runs the tests in the background may have them ignore Ctrl+C.
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        os.environ["PYTHONPATH"] = str(Path(__file__).parents[2])
        os.environ["TERM"] = "xterm-256color"
        arguments = ["walk", "--plain", "idle", "--vehicle", "van"]
        arguments += ["--trees", str(SHOP), "--sessions", str(sessions)]
        os.execv(sys.executable, [sys.executable, "-m", "faulttree", *arguments])
    shown, read_to = b"", 0

    def until(words):
        """Read on until the words come, after those waited for before."""
        nonlocal shown, read_to
        while words not in shown[read_to:]:
            assert select.select([terminal], [], [], 120)[0], shown
            shown += os.read(terminal, 4096)
        read_to = shown.index(words, read_to) + len(words)

    until(b"What does the driver say?")
    os.write(terminal, b"It hunts\n\n\n\n\n")
    until(b"What now?")
    os.write(terminal, b"n\nSmells of petrol\n")
    until(b"Noted.")
    # A key is lost that comes while the line editor takes the terminal over: it shows its prompt.
    until(b"What now?")
    until(b"help) ")
    os.write(terminal, key)
    until(b"Go on with: faulttree resume --plain")
    _, status = os.waitpid(pid, 0)
    os.close(terminal)
    assert os.waitstatus_to_exitcode(status) == code
    assert b"\x1b" not in shown
    assert [fact.event.text for fact in _record(sessions).state.notes] == ["Smells of petrol"]


def test_a_closed_session_is_replayed_and_reopened_through_a_pipe(sessions):
    """`replay --plain` needs no terminal, and `resume --plain` asks before it reopens."""
    _run(sessions, *BEGUN, "", "hunting", "yes", "close", "not found", "")
    path = _record(sessions).path
    folders = ("--trees", str(SHOP), "--sessions", str(sessions))
    code, out, err = _faulttree("replay", "--plain", path.name, *folders, typed="reading\nq\n")
    assert (code, err) == (0, "")
    assert "Idle watched: hunting." in out.splitlines()
    code, out, err = _faulttree(
        "replay", "--plain", "--exercise", path.name, "--who", "Anna", *folders, typed="\nshow\n"
    )
    assert (code, err) == (0, "")
    assert "What was done: Idle watched: hunting." in out
    assert '"who": "Anna"' in (sessions / "exercises.jsonl").read_text()
    code, out, err = _faulttree("resume", "--plain", path.name, *folders, typed="yes\nq\n")
    assert (code, err) == (0, "")
    assert "Reopened." in out
    assert read(path).state.is_open
