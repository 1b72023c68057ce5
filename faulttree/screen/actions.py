"""The one table of what can be done, on which page, with which key.

Bindings, the line of keys at the foot, the help page and the command palette are all made from
`ACTIONS`; a key that is not here does nothing. Keys can be changed in a small YAML file:

    keys:
      walk.note: m
      everywhere.back: [escape, z]

What the file may not do is decided in `check_keymap`; reading it is in `keyfile`, so that no YAML
is loaded before the first paint.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from textual.binding import Binding, BindingType

EVERYWHERE = "everywhere"


@dataclass(frozen=True, slots=True)
class Action:
    """Something that can be done on a page.

    `keys` are separated by commas, "" for one that only the palette offers. `method` is what runs
    (`action_` and this name, on the page). `foot` says how soon the name is dropped from the line
    of keys when room is short: 0 is never shown there, 1 stays longest. With `priority` the key
    works even while text is being typed.
    """

    id: str
    keys: str
    name: str
    about: str
    method: str
    foot: int = 0
    priority: bool = False

    @property
    def page(self) -> str:
        """The page it belongs to."""
        return self.id.partition(".")[0]


ACTIONS: tuple[Action, ...] = (
    # --- every page ------------------------------------------------------------------------------
    Action(
        "everywhere.back",
        "escape,b,ctrl+g",
        "Back",
        "Go back one page, or close the box. Ctrl+G does it while typing, too.",
        "back",
        2,
    ),
    Action(
        "everywhere.help",
        "question_mark,ctrl+o",
        "Keys",
        "Show what every key does here. Ctrl+O does it while text is written.",
        "help",
        1,
    ),
    Action(
        "everywhere.scroll_up",
        "pageup",
        "Scroll up",
        "Scroll the text of the page up.",
        "scroll_text(-1)",
    ),
    Action(
        "everywhere.scroll_down",
        "pagedown",
        "Scroll down",
        "Scroll the text of the page down.",
        "scroll_text(1)",
    ),
    Action(
        "everywhere.palette",
        "ctrl+p",
        "Find a command",
        "Search everything that can be done here by name.",
        "palette",
    ),
    Action(
        "everywhere.colours",
        "",
        "Change colours",
        "Dark, light, or strong contrast.",
        "colours",
    ),
    Action(
        "everywhere.quit",
        "ctrl+c",
        "Leave",
        "Leave the program. Every reading is on the disk already.",
        "leave",
        0,
        True,
    ),
    # --- home ------------------------------------------------------------------------------------
    Action("home.start", "s", "Start", "Take in a car and start a session.", "start", 3),
    Action("home.replay", "r", "Replay", "Step through the chosen session again.", "replay", 7),
    Action(
        "home.exercise",
        "x",
        "Exercise",
        "Walk the chosen session yourself and compare your choices.",
        "exercise",
        5,
    ),
    Action(
        "home.reopen",
        "o",
        "Reopen",
        "Take the closing of the chosen session back and go on with it.",
        "reopen",
        6,
    ),
    Action("home.handover", "h", "Report", "Show the chosen session's report.", "handover", 5),
    Action("home.trees", "t", "Trees", "Look at the trees: every complaint's route.", "trees", 8),
    Action("home.colours", "c", "Colours", "Dark, light, or strong contrast.", "colours", 9),
    Action("home.quit", "q", "Leave", "Leave the program.", "leave", 3),
    # --- taking a car in -------------------------------------------------------------------------
    Action(
        "ready.begin",
        "g",
        "Begin the walk",
        "Open the session and go to the first test.",
        "begin",
        3,
    ),
    Action(
        "figures.clear", "delete", "Unknown", "Forget the typed figure again.", "clear_figure", 4
    ),
    # --- the walk --------------------------------------------------------------------------------
    Action("walk.route", "r", "Route", "Take the test that the route asks for next.", "route", 7),
    Action("walk.advice", "a", "Advice", "Take what is worth most for its cost.", "advice", 7),
    Action("walk.tests", "t", "Tests", "Choose any test from the list.", "tests", 4),
    Action("walk.cannot", "x", "Can't", "This test cannot be done here: say why.", "cannot", 4),
    Action(
        "walk.undo", "u", "Undo", "Take the last entry back, after showing what it was.", "undo", 3
    ),
    Action(
        "walk.why", "w", "Why", "Why each cause stands where it does, reading by reading.", "why", 4
    ),
    Action("walk.fix", "f", "Fix", "Record a repair, then prove it.", "fix", 4),
    Action(
        "walk.again", "g", "Again", "Take the last test again; repeats count together.", "again", 8
    ),
    Action(
        "walk.showing",
        "s",
        "Showing",
        "Was the complaint showing at that moment? Turns the answer.",
        "showing",
        9,
    ),
    Action(
        "walk.instrument",
        "i",
        "Gauge",
        "Which instrument was used; add a point where it is out.",
        "instrument",
        9,
    ),
    Action("walk.order", "o", "Order", "Cylinders in number order or in firing order.", "order", 9),
    Action("walk.figures", "e", "Figures", "Type the maker's figures for this car.", "figures", 9),
    Action("walk.note", "n", "Note", "Write a note into the session.", "note", 7),
    Action(
        "walk.map", "m", "Map", "The route as a drawing, the way so far, and all entries.", "map", 9
    ),
    Action(
        "walk.proof",
        "p",
        "Proof",
        "After a repair: repeat the tests, before beside after.",
        "proof",
        4,
    ),
    Action("walk.handover", "h", "Report", "Show the report so far, and write it.", "handover", 9),
    Action(
        "walk.close",
        "c",
        "Close",
        "Close the session: what it was, and how it came out.",
        "close",
        8,
    ),
    Action(
        "walk.complaint",
        "d",
        "Driver",
        "What the driver says, and the answers to the questions.",
        "complaint",
        9,
    ),
    # --- one test again, for the proof of a repair ---------------------------------------------
    Action("reading.cannot", "x", "Can't", "This test cannot be done here: say why.", "cannot", 4),
    Action("reading.showing", "s", "Showing", "Was the complaint showing? Turns it.", "showing", 5),
    Action("reading.instrument", "i", "Gauge", "Which instrument was used.", "instrument", 6),
    Action("reading.order", "o", "Order", "Number order or firing order.", "order", 6),
    Action("reading.figures", "e", "Figures", "Type the maker's figures.", "figures", 7),
    Action("reading.note", "n", "Note", "Write a note into the session.", "note", 7),
    # --- why, repair, proof, close, report -------------------------------------------------------
    Action("why.fix", "f", "Fix this", "Record the repair of the chosen cause.", "fix", 3),
    Action(
        "proof.walk",
        "w",
        "Back to the walk",
        "Go on testing with the chances as they are now.",
        "walk",
        4,
    ),
    Action(
        "proof.close",
        "c",
        "Close",
        "Close the session: what it was, and how it came out.",
        "close",
        3,
    ),
    Action(
        "proof.undo", "u", "Undo", "Take the last entry back, after showing what it was.", "undo", 4
    ),
    Action("proof.handover", "h", "Report", "Show the report so far.", "handover", 5),
    Action(
        "report.write", "w", "Write file", "Write the report beside the session's log.", "write", 3
    ),
    # --- looking at a session again --------------------------------------------------------------
    Action("replay.next", "n", "Next", "One entry on.", "next", 3),
    Action("replay.previous", "p", "Previous", "One entry back.", "previous", 3),
    Action(
        "replay.play",
        "s",
        "Play",
        "Start the entries going by at a pace of your choice; once more stops them.",
        "play",
        3,
    ),
    Action("replay.faster", "plus", "Faster", "A shorter stay at each entry.", "pace(-1)", 7),
    Action("replay.slower", "minus", "Slower", "A longer stay at each entry.", "pace(1)", 7),
    Action(
        "replay.jump",
        "j",
        "Jump",
        "To an entry by its number, or to the next repair, complaint or test by name.",
        "jump",
        4,
    ),
    Action("replay.repair", "r", "Next repair", "To the next repair.", "jump_to('repair')", 6),
    Action(
        "replay.complaint",
        "c",
        "Next complaint",
        "To the next look at the complaint.",
        "jump_to('complaint')",
        8,
    ),
    Action("replay.first", "f", "First", "To the first entry.", "first", 8),
    Action("replay.last", "l", "Last", "To the last entry.", "last", 8),
    Action("replay.why", "w", "Why", "Why each cause stood where it did.", "why", 5),
    Action(
        "exercise.give_up",
        "x,ctrl+r",
        "Show me",
        "Show what was done, without choosing. Ctrl+R does it while typing.",
        "give_up",
        4,
    ),
)
"""Everything that can be done, page by page."""

BY_ID: Mapping[str, Action] = {action.id: action for action in ACTIONS}

Keymap = Mapping[str, str]
"""Keys in place of the table's own, by action: comma-separated, in Textual's names."""


def actions_of(page: str) -> list[Action]:
    """What can be done on a page: its own actions first, then those of every page."""
    own = [action for action in ACTIONS if action.page == page]
    if page == EVERYWHERE:
        return own
    taken = {action.method for action in own}
    return [*own, *(a for a in ACTIONS if a.page == EVERYWHERE and a.method not in taken)]


def keys_of(action: Action, keymap: Keymap) -> tuple[str, ...]:
    """The keys of an action as they stand, in Textual's names."""
    keys = keymap.get(action.id, action.keys)
    return tuple(key for key in keys.split(",") if key)


def bindings(page: str) -> list[BindingType]:
    """Textual's bindings for a page, from the table; the ids let `App.set_keymap` change keys."""
    made: list[BindingType] = []
    for action in ACTIONS:
        if action.page == page and action.keys:
            made.append(
                Binding(
                    action.keys,
                    action.method,
                    action.name,
                    show=False,
                    priority=action.priority,
                    id=action.id,
                )
            )
    return made


NAMES: Mapping[str, str] = {
    "escape": "Esc",
    "enter": "Enter",
    "question_mark": "?",
    "pageup": "PgUp",
    "pagedown": "PgDn",
    "delete": "Del",
    "backspace": "Backspace",
    "space": "Space",
    "tab": "Tab",
    "plus": "+",
    "minus": "-",
    "full_stop": ".",
    "comma": ",",
    "slash": "/",
}


def show_key(key: str) -> str:
    """A key as it stands on the keyboard."""
    if key in NAMES:
        return NAMES[key]
    if key.startswith("ctrl+"):
        return f"Ctrl+{show_key(key[5:]).upper() if len(key) == 6 else show_key(key[5:])}"
    return key if len(key) == 1 else key.replace("_", " ").capitalize()


# --- a keymap of one's own -----------------------------------------------------------------------

SWALLOWED: Mapping[str, str] = {
    "ctrl+b": "tmux keeps it for itself",
    "ctrl+s": "many terminals stop their output at it",
    "ctrl+q": "many terminals keep it to go on with their output",
    "ctrl+z": "it puts the program to sleep",
    "ctrl+enter": "many terminals send a plain Enter for it",
    "shift+enter": "many terminals send a plain Enter for it",
    "ctrl+i": "terminals send Tab for it",
    "ctrl+m": "terminals send Enter for it",
    "ctrl+j": "some terminals send Enter for it",
    "ctrl+h": "some terminals send Backspace for it",
}
"""Keys that do not reach a program everywhere, and why."""

WORKING = frozenset(
    {"enter", "tab", "shift+tab", "up", "down", "left", "right", "space", "backspace"}
)
"""Keys that move about and confirm, on every page."""


def normal_key(written: str) -> str:
    """A key as Textual names it: `?` is `question_mark`, `Ctrl+G` is `ctrl+g`."""
    key = written.strip()
    if len(key) == 1:
        return {
            "?": "question_mark",
            "+": "plus",
            "-": "minus",
            ".": "full_stop",
            "/": "slash",
        }.get(key, key)
    return key.lower().replace(" ", "_")


def why_not(key: str) -> str | None:
    """Why a key cannot be given to an action, or None."""
    if key in SWALLOWED:
        return f"{show_key(key)} cannot be used: {SWALLOWED[key]}"
    if key in WORKING:
        return f"{show_key(key)} moves about or confirms on every page"
    if key.isdigit():
        return "digits are for readings and for lists"
    if key.startswith("alt+") or "+alt+" in key:
        return "Alt does not reach a program in many terminals"
    if key[:1] == "f" and key[1:].isdigit():
        return "terminals keep the F keys for themselves"
    bare = key.removeprefix("ctrl+")
    if len(bare) == 1 and bare.isprintable() and bare.isascii():
        return None
    if key in NAMES or key in {"home", "end", "insert"}:
        return None
    return f"there is no key called {key!r}"


@dataclass(frozen=True, slots=True)
class KeyProblem:
    """What is wrong with one entry of a keymap: the action it names and why it is left out."""

    action: str
    message: str


def check_keymap(wanted: Mapping[str, Sequence[str]]) -> tuple[dict[str, str], list[KeyProblem]]:
    """The part of a keymap that can be used, and what is wrong with the rest.

    Two actions that can be reached on the same page may not share a key; the entry that was
    written is then left out and the table's own key stays. Every page keeps a way back.
    """
    usable: dict[str, str] = {}
    problems: list[KeyProblem] = []
    for id, written in wanted.items():
        if id not in BY_ID:
            # difflib is needed only when something is wrong.
            from difflib import get_close_matches

            near = get_close_matches(id, BY_ID, n=1)
            hint = f" Did you mean {near[0]}?" if near else ""
            problems.append(KeyProblem(id, f"there is no action {id!r}.{hint}"))
            continue
        keys = [normal_key(key) for key in written]
        bad = next((reason for key in keys if (reason := why_not(key))), None)
        if not keys:
            bad = "no key is given"
        if bad:
            problems.append(KeyProblem(id, f"{bad}; {_stays(id)}"))
        else:
            usable[id] = ",".join(dict.fromkeys(keys))
    while (clash := _clash(usable)) is not None:
        id, key, other = clash
        del usable[id]
        problems.append(
            KeyProblem(
                id,
                f"{show_key(key)} is the key of {other} on the same page; {_stays(id)}",
            )
        )
    return usable, problems


def _stays(id: str) -> str:
    keys = " or ".join(show_key(key) for key in keys_of(BY_ID[id], {})) or "without a key"
    return f"it stays {keys}"


def _clash(keymap: Keymap) -> tuple[str, str, str] | None:
    """The first changed action whose key another action of the same page has as well."""
    pages = dict.fromkeys(action.page for action in ACTIONS if action.page != EVERYWHERE)
    for page in pages:
        held: dict[str, str] = {}
        # Unchanged actions first, so that it is the changed one that is blamed.
        for action in sorted(actions_of(page), key=lambda action: action.id in keymap):
            for key in keys_of(action, keymap):
                if key in held:
                    changed = action.id if action.id in keymap else held[key]
                    other = held[key] if changed == action.id else action.id
                    return changed, key, other
                held[key] = action.id
    return None
