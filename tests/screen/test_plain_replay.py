"""A past session line by line: stepped through, jumped about in, and walked as an exercise."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from faulttree.screen.plain import replay_plain, run_plain
from faulttree.session.journal import read
from faulttree.study.exercise import brier

SHOP = Path(__file__).parent / "shop"
LINES = [
    *["1", "1", "It hunts", "Both", "", "", "yes"],
    *["", "hunting", "yes", "", "12 inHg", "yes"],
    *["note", "Smells of petrol"],
    *[
        "fix",
        "Air leak",
        "",
        "",
        "steady",
        "no",
        "",
        "19 inHg",
        "",
        "",
        "clean",
        "",
        "",
        "gone",
        "",
    ],
    *["close", "cured", "", "", ""],
]


class Terminal:
    """Answers prompts from a list, then ends like a closed pipe; keeps all that was said."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.said = []

    def ask(self, prompt):
        """The next answer; the prompt is kept among what was said."""
        self.said.append(prompt)
        if not self.answers:
            raise EOFError
        return self.answers.pop(0)

    def say(self, line):
        """Keep a line that was said."""
        self.said.append(line)


@pytest.fixture
def path(sessions):
    """A finished session of the small shop."""
    terminal = Terminal(*LINES)
    assert run_plain(SHOP, sessions, who="sam", ask=terminal.ask, say=terminal.say) == 0
    assert not terminal.answers
    (found,) = sessions.glob("*.jsonl")
    return found


def _replay(path, *answers, exercise=False):
    terminal = Terminal(*answers)
    code = replay_plain(
        path, path.parent, "workshop", exercise=exercise, ask=terminal.ask, say=terminal.say
    )
    assert code == 0
    assert not terminal.answers
    return terminal.said


def _entries(said):
    """The numbers of the entries that were said, in order."""
    return [int(line.split()[1]) for line in said if line.startswith("Entry ")]


def _number(path, kind, nth=0):
    found = [e.sequence for e in read(path).envelopes if type(e.event).__name__ == kind]
    return found[nth]


# --- replay ------------------------------------------------------------------------------------


def test_enter_and_back_step(path):
    """Enter says the next entry, back the one before; the ends are said as such."""
    last = len(read(path).envelopes)
    said = _replay(path, "", "", "back", "back", "back", "last", "", "first", "q")
    assert _entries(said) == [1, 2, 3, 2, 1, last, 1]
    assert "This is the first entry." in said
    assert "This is the last entry." in said


def test_jumps_line_by_line(path):
    """A number, a kind of entry and a word of a test's name lead where they say."""
    said = _replay(path, "5", "repair", "complaint", "vacuum", "vacuum", "vacuum", "unicorn", "q")
    assert _entries(said) == [
        1,
        5,
        _number(path, "Repaired"),
        _number(path, "ComplaintChecked"),
        _number(path, "ReadingTaken", 1),
        _number(path, "ReadingTaken", 3),
        _number(path, "ReadingTaken", 1),
    ]
    assert "From the first entry again:" in said
    assert "unicorn: no entry answers that. Type ? for what can be typed." in said


def test_an_entry_says_what_it_did(path):
    """A reading is said with how sure it was and what it moved, as it stood then."""
    said = _replay(path, "hunting", "k", "w", "1", "q")
    at = said.index("Idle watched: hunting.")
    assert said[at + 1].startswith("How sure: hunting")
    assert any(line.startswith("Air leak after the throttle rose from") for line in said[at:])
    assert any(line.startswith("With the complaint alone: ") for line in said[at:])
    # What came later is not known yet.
    assert not any("Manifold vacuum" in line for line in said)


def test_all_says_the_rest_without_stopping(path):
    """`all` goes to the end, entry by entry, without a question in between."""
    last = len(read(path).envelopes)
    said = _replay(path, "all", "q")
    assert _entries(said) == list(range(1, last + 1))


def test_a_replay_changes_nothing(path):
    """Stepping through leaves the log and the folder as they were."""
    before = {file: file.read_bytes() for file in path.parent.rglob("*") if file.is_file()}
    _replay(path, "", "all", "w", "back", "why", "1", "q")
    after = {file: file.read_bytes() for file in path.parent.rglob("*") if file.is_file()}
    assert after == before


def test_what_cannot_be_read_is_said(path, tmp_path):
    """A missing log gives the reason and code 1; a torn one is stepped through as far as sound."""
    terminal = Terminal()
    missing = tmp_path / "no.jsonl"
    assert replay_plain(missing, tmp_path, ask=terminal.ask, say=terminal.say) == 1
    assert terminal.said
    lines = path.read_bytes().split(b"\n")
    path.write_bytes(b"\n".join([*lines[:6], b"{}", *lines[7:]]))
    said = _replay(path, "last", "q")
    assert any(line.startswith("Not the whole log could be read: line 7") for line in said)
    assert _entries(said)[-1] == 6


def test_damage_is_said_once_by_the_command_too(path):
    """A torn log replayed by the command line says what is wrong with it once, not on both ways."""
    lines = path.read_bytes().split(b"\n")
    path.write_bytes(b"\n".join([*lines[:6], b"{}", *lines[7:]]))
    done = subprocess.run(
        [sys.executable, "-m", "faulttree", "replay", "--plain", str(path)],
        input="q\n",
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout + done.stderr).count("line 7") == 1


# --- exercise ----------------------------------------------------------------------------------

CHANCES = ["90", "5", "x", "5", "0", "0"]
"""A chance for each of the causes of the small shop and any other; one is typed wrong first."""


def test_a_whole_exercise_is_scored_and_kept_under_the_trainees_name(path, sessions):
    """Every step is chosen or shown, the chances are scored, and one line is kept."""
    said = _replay(
        path,
        "Anna",
        *["idle watched", "1", "manifold", "1"],
        *[*CHANCES, "air leak", "1"],
        *["show", "show", "show"],
        exercise=True,
    )
    text = "\n".join(said)
    (line,) = (sessions / "exercises.jsonl").read_text().splitlines()
    kept = json.loads(line)
    assert (kept["who"], kept["session"], len(kept["picks"])) == ("Anna", path.name, 6)
    assert [one["picked"] and one["picked"]["id"] for one in kept["picks"]] == [
        *["idle-look", "manifold-vacuum", "air-leak"],
        *[None, None, None],
    ]
    assert kept["weighed"] == 3
    assert kept["over_advice"] == pytest.approx(kept["recorded_over_advice"])
    assert kept["stated"]["air-leak"] == 0.9
    assert kept["true"]["air-leak"] is True
    assert kept["brier"] == pytest.approx(
        brier(list(kept["true"].values()), list(kept["stated"].values()))
    )
    assert f"Brier score of your chances: {kept['brier']:.3f}" in text
    assert f"Kept under Anna in {sessions / 'exercises.jsonl'}." in said


def test_the_next_step_is_not_said_before_the_choice(path):
    """Until a choice is made, nothing tells what was recorded; after it all three are said."""
    said = _replay(path, "", "compression", "1", "quit", exercise=True)
    chosen = said.index("Which number? (or another word) ")
    assert not any("hunting" in line for line in said[:chosen])
    after = said[chosen:]
    assert "What was done: Idle watched: hunting." in after
    for label in ("You: Compression, dry: costs ", "Recorded: Idle watched: costs ", "Advice: "):
        assert any(line.startswith(label) for line in after), label
    # Of what was recorded, the reading that came is told first.
    at = next(n for n, line in enumerate(after) if line.startswith("Recorded: "))
    assert after[at + 1].startswith("It came out hunting, a chance of ")


def test_the_car_is_known_before_the_first_step(path):
    """A trainee hears which car it is before he chooses, and how to leave or to be told."""
    said = _replay(path, "", "quit", exercise=True)
    first = said.index("Step 1 of 6.")
    assert any(
        line.startswith("Car: Grey van, two litre four; Fuel system: ") for line in said[:first]
    )
    assert any(
        "Type show to hear a step without choosing, quit to leave." in s for s in said[:first]
    )


def test_an_exercise_that_is_left_keeps_no_result(path, sessions):
    """Leaving by quit, by back and yes, or by the end of the input keeps nothing."""
    for answers in (["", "quit"], ["", "back", "no", "back", "yes"], ["", "show"]):
        _replay(path, *answers, exercise=True)
        assert not (sessions / "exercises.jsonl").exists()


def test_chances_can_be_left_out(path, sessions):
    """Going back at the first chance leaves the Brier score out, and the exercise goes on."""
    said = _replay(path, "", "show", "show", "90", "back", "back", *["show"] * 4, exercise=True)
    assert "No chances were stated, so there will be no score for them." in said
    kept = json.loads((sessions / "exercises.jsonl").read_text())
    assert (kept["who"], kept["brier"]) == ("workshop", None)


def test_a_session_without_steps_is_no_exercise(sessions):
    """Where nothing was read or repaired there is nothing to choose, and that is said."""
    terminal = Terminal("1", "1", "", "", "", "", "", "q")
    run_plain(SHOP, sessions, who="sam", ask=terminal.ask, say=terminal.say)
    (path,) = sessions.glob("*.jsonl")
    said = _replay(path, exercise=True)
    assert any("nothing to choose" in line for line in said)
