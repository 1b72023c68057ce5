"""The walk line by line takes a car in, reads it, repairs, proves and closes, and loses nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from faulttree.screen.plain import COMMANDS, matching, resume_plain, run_plain, whole_steps
from faulttree.session.events import CannotDo, CautionAcknowledged, Closed, RouteLeft, SpecGiven
from faulttree.session.journal import open_journal, read

SHOP = Path(__file__).parent / "shop"
BEGUN = ["1", "1", "It hunts", "Both", "", "yes"]
"""A complaint, the van, what the driver says, two questions, and whether it was seen."""


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
    assert "Route: Idle watched, 5 min, look and listen." in terminal.said
    assert any(line.startswith("Advice: ") for line in terminal.said)
    _, terminal = _run(sessions / "two", *BEGUN, "", "hunting", "yes")
    assert any("Air leak" in line and "rose from" in line for line in terminal.said)
    assert "That is because Idle watched read hunting." in terminal.said


def test_where_things_stand_is_said_once_and_on_request(sessions):
    """What does not change is not said again after every command; `look` says it again."""
    _, terminal = _run(sessions, *BEGUN, "bogus", "back", "k")
    assert terminal.said.count("Route: Idle watched, 5 min, look and listen.") == 1
    _, terminal = _run(sessions / "two", *BEGUN, "bogus", "look", "n", "a note")
    assert terminal.said.count("Route: Idle watched, 5 min, look and listen.") == 3
    assert terminal.said.count("Likeliest causes:") == 2


def test_either_route_can_go_first(sessions):
    """With two complaints each route is said with its complaint, and either can be followed."""
    intake = ["1,2", "1", "", "", "", "", "", "", ""]
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


def test_leaving_before_the_session_begins_writes_nothing(sessions):
    """The end of the input during the intake leaves no file behind."""
    code, terminal = _run(sessions, "1", "1")
    assert code == 0
    assert terminal.said[-1] == "Left. No session was begun."
    assert not sessions.exists()


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
    assert [prompt for prompt in terminal.prompts if "complain of" in prompt] == [
        "What does the driver complain of? "
    ] * 2
    assert not sessions.exists()


def test_given_complaint_and_car_are_not_asked(sessions):
    """What the command line names is not asked again."""
    _, terminal = _run(sessions, "It hunts", trees=("idle",), vehicle="van")
    assert terminal.prompts[0].startswith("What does the driver say?")


def test_several_complaints_are_taken_at_once(sessions):
    """Numbers with commas take several complaints; words find a complaint by what drivers say."""
    _, terminal = _run(sessions, "bogs down", "1,2", "2", "", "", "", "", "", "", "", "")
    assert terminal.said.count("2. Stumbles as the throttle opens") == 2
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


def test_a_caution_that_stops_the_work_cannot_be_waved_through(sessions):
    """Where the work must stop, `understood` is not offered, and back records nothing."""
    _, terminal = _run(sessions, *BEGUN, "t", "gas", "1", "understood", "back", "q")
    assert "understood: that is no answer here. Type a number from 1 to 2." in terminal.said
    assert not _events(sessions, CautionAcknowledged)
    assert not _record(sessions).state.readings


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
        *["", "", "", ""],
        *["", "hunting", "yes"],
        *["", "12 inHg", "yes"],
        *["nonsense", "55 kPa", "the book"],
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
    assert "The last entry: Note: Smells of petrol" in terminal.said
    assert any(line.startswith("With the complaint alone:") for line in terminal.said)


def test_a_cure_without_proof_is_not_closed(sessions):
    """Closing as cured before the complaint is found gone is refused, and the walk goes on."""
    _, terminal = _run(sessions, *BEGUN, "close", "cured", "", "q")
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
    assert "The last entry: Note: [2Jgone" in terminal.said
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


def test_steps_are_whole_lines():
    """A step that was broken for the width of its file is said as one line; tables stay."""
    written = "1. Hot engine,\n   loads off.\n2. Read it.\n- a  1\n- b  2\n"
    assert whole_steps(written).split("\n") == [
        "1. Hot engine, loads off.",
        "2. Read it.",
        "- a  1",
        "- b  2",
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


def _faulttree(*arguments, typed):
    done = subprocess.run(
        [sys.executable, "-m", "faulttree", *arguments],
        input=typed,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONUTF8": "1"},
    )
    return done.returncode, done.stdout, done.stderr


def test_the_command_line_walks_and_resumes_through_a_pipe(sessions):
    """`walk --plain` and `resume --plain` need no terminal: they read lines and write lines."""
    folders = ("--trees", str(SHOP), "--sessions", str(sessions))
    typed = "It hunts\n\n\n\nn\nSmells of petrol\n"
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
