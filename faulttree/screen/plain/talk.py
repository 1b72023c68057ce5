"""Questions and answers: the only place of the line-by-line program that asks and says.

What is said is data as well as words of ours, so everything loses its power over the terminal here,
and signs that a voice swallows or a serial line cannot show are put into words.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from shutil import get_terminal_size
from textwrap import wrap
from typing import Any

from faulttree.handover.blocks import plain_line
from faulttree.screen.search import rank

Ask = Callable[[str], str]
Say = Callable[[str], Any]
Option = tuple[str, str]
"""The id of an answer, and its words."""

_SIGNS = (
    (re.compile(r"\s*(?:→|->)\s*"), " to "),
    (re.compile(r"<\s?(?=[0-9])"), "less than "),
    (re.compile(r">\s?(?=[0-9])"), "more than "),
    (re.compile(r"\s*±\s*"), " plus or minus "),
    (re.compile(r"\s*≥\s*"), " at least "),
    (re.compile(r"\s*≤\s*"), " at most "),
    (re.compile(r"(?<![\w.)-])[-−](?=[0-9])"), "minus "),
    (re.compile(r"(?<![\w.)])\+(?=[0-9])"), "plus "),
    (re.compile(r"λ"), "lambda"),
    (re.compile(r"µ|μ"), "u"),
    (re.compile(r"Ω"), "ohm"),
    (re.compile(r"²"), "2"),
    (re.compile(r"…"), "..."),
    (re.compile(r"[•·]\s*"), "- "),
)

_ROW = re.compile(r"(?<=[\w)]) {2,}")
_STEP = re.compile(r"[0-9]{1,2}[.)]\s|[-*•]\s")


NONE = frozenset({"", "no", "none"})
SHORT = 16
"""How many letters an answer may have to be said again as what Enter gives."""
MOST_FOUND = 9
"""How many names are said of those that answer a word."""


class Back(Exception):
    """Somebody typed `back`."""


def from_terminal(prompt: str) -> str:
    """A line from the terminal or a pipe; what comes from a pipe is said back, as a terminal does.

    Bytes that are no text become question marks.
    """
    reconfigure = getattr(sys.stdin, "reconfigure", None)
    if reconfigure is not None and sys.stdin.errors != "replace":
        reconfigure(errors="replace")
    typed = input(prompt)
    if not sys.stdin.isatty():
        print(plain_line(typed))
    return typed


def terminal_width() -> int:
    """How many cells wide the terminal is now."""
    return get_terminal_size().columns


def aloud(line: str) -> str:
    """A line as it can be read aloud and sent to any terminal: no signs, no steering characters."""
    for sign, words in _SIGNS:
        line = sign.sub(words, line)
    return plain_line(line)


def title_aloud(title: str) -> str:
    """A session's title without the signs that join its complaints and part them from the car."""
    return title.replace(" + ", " and ").replace(" - ", ", ")


def sentence(text: str) -> str:
    """The text with an end that a voice can hear, whoever wrote it."""
    text = plain_line(text)
    return text if text.endswith((".", "!", "?", ":")) else f"{text}."


_SETTLES = re.compile(r"(?P<came>it came out )?(?P<band>.+?) \((?P<chance>[^)]*%)\): (?P<told>.+)")


def settles_aloud(line: str) -> str:
    """What a reading would do to the causes, or did, as a sentence."""
    found = _SETTLES.fullmatch(line)
    if found is None:
        return sentence(f"It {line.removeprefix('it ')}")
    told = re.sub(r" ((?:<|>|≤|≥|under |over )?[0-9]+ %) -> ", r" goes from \1 to ", found["told"])
    verb = "that " if told.startswith("rules out") else ""
    lead = "It came out" if found["came"] else "If it reads"
    return sentence(f"{lead} {found['band']}, a chance of {found['chance']}: {verb}{told}")


class Talk:
    """A conversation over one terminal."""

    def __init__(self, ask: Ask, say: Say, width: Callable[[], int] | None = None) -> None:
        """`width` gives the cells of a terminal, so that lines break between words; None: whole."""
        self._ask, self._say, self._width = ask, say, width

    def say(self, text: str) -> None:
        """Say one or more lines."""
        for line in text.split("\n"):
            for row in self._rows(aloud(line)):
                self._say(row)

    def _rows(self, line: str) -> list[str]:
        """A line as the terminal is to show it: a word that is cut in two is read as two."""
        if self._width is None:
            return [line]
        # One cell is left free: some terminals wrap as soon as the last one is written.
        room = max(20, self._width() - 1)
        # A figure is not parted from its per cent sign.
        held = line.replace(" %", "\u00a0%")
        rows = wrap(held, room, break_long_words=False, break_on_hyphens=False) or [""]
        return [row.replace("\u00a0%", " %") for row in rows]

    def exact(self, text: str) -> None:
        """Say one line with its signs as they are: a path, or a command to be typed."""
        self._say(plain_line(text))

    def line(self, prompt: str, help: str, again: str = "") -> str:
        """A line that was typed; `?` says the help, `back` raises Back, the end EOFError.

        `again` is what was asked before the prompt, which is said once more after the help.
        """
        while True:
            # What no file can hold (half a character from a serial line) must not reach the log.
            *before, last = self._rows(aloud(prompt))
            for row in before:
                self._say(row)
            typed = self._ask(f"{last} ").encode("utf-8", "replace").decode().strip()
            if typed == "?":
                self.say(f"{help} Type back to go one step back.")
                if again:
                    self.say(again)
            elif typed.casefold() == "back":
                raise Back
            else:
                return typed

    def choose(
        self,
        question: str,
        options: Sequence[Option],
        *,
        default: str = "",
        words: Sequence[str] = (),
        help: str = "",
    ) -> str:
        """The id of one of the numbered options, chosen by number, or by a word of it.

        The question is heard before its answers, and what is to be typed last. Enter alone takes
        the default, when there is one. One of `words` is given back as it is.
        """
        asked = numbered(question, [name for _, name in options])
        self.say(asked)
        help = help or "Type the number of an answer, or a word of it."
        prompt = answer_prompt(options, default)
        while True:
            typed = self.line(prompt, help, asked)
            if not typed and default:
                return default
            if typed.casefold() in words:
                return typed.casefold()
            found = matching(typed, options) or holding(typed, options)
            if len(found) == 1:
                return found[0]
            which = "more than one answer has that" if found else "that is no answer here"
            self.say(f"{typed or 'Nothing'}: {which}. Type a number from 1 to {len(options)}.")

    def yes(self, question: str, *, default: bool | None = None, help: str = "") -> bool:
        """Whether a question was answered with yes; Enter alone gives the default, if any."""
        fallback = {True: "yes", False: "no", None: ""}[default]
        hint = f" (yes or no{f', Enter: {fallback}' if fallback else ''})"
        help = help or "Type yes or no."
        while True:
            typed = self.line(question + hint, help).casefold() or fallback
            if typed in {"y", "yes", "1"}:
                return True
            if typed in {"n", "no", "2"}:
                return False
            self.say(f"{typed or 'Nothing'}: type yes or no.")

    def find(
        self,
        prompt: str,
        options: Sequence[Option],
        *,
        enter: str = "",
        words: Sequence[str] = (),
        help: str = "",
    ) -> str:
        """Choose from a long list by a word first.

        Enter alone lists all; or, where `enter` says what it does, gives "", as `no` does. One of
        `words` is given back as it is.
        """
        what = f"Enter: {enter}" if enter else "a word of its name, or Enter for all"
        find = (
            "Type a word of the name to find it, then its number; type all to have all of them "
            "listed."
        )
        help = f"{find} {help}".strip()
        found: list[Option] = []
        while True:
            if found:
                try:
                    typed = self.line("Which number? (or another word)", help)
                except Back:
                    found = []
                    continue
                chosen = matching(typed, found) if typed else []
                if len(chosen) == 1:
                    return chosen[0]
                if not typed or typed.isdigit():
                    self.say(f"Type a number from 1 to {len(found)}, or another word.")
                    continue
            else:
                typed = self.line(f"{prompt} ({what})", help)
                # Whoever is asked whether there is one may also say so.
                if enter and typed.casefold() in NONE:
                    return ""
            if typed.casefold() in words:
                return typed.casefold()
            sought = "" if typed.casefold() == "all" else typed
            scores = {id: rank(sought, (name, id)) for id, name in options}
            better = [option for option in options if scores[option[0]] > 0]
            if not better:
                self.say(f"{typed}: nothing answers that.")
                continue
            found = sorted(better, key=lambda option: -scores[option[0]])
            # The best stand first, and a voice that must say them all loses its listener.
            heard = found if not sought else found[:MOST_FOUND]
            for at, (_, name) in enumerate(heard, 1):
                self.say(f"{at}. {name}")
            if len(found) > len(heard):
                self.say(f"{len(found) - len(heard)} more answer that, less well.")
            found = heard


def numbered(question: str, names: Sequence[str]) -> str:
    """A question and its numbered answers, a line each."""
    return "\n".join([question, *(f"{at}. {name}" for at, name in enumerate(names, 1))])


def answer_prompt(options: Sequence[Option] = (), default: str = "") -> str:
    """What asks for the answer once question and answers were said, with what Enter does."""
    for at, (id, name) in enumerate(options, 1):
        if id == default:
            # A long answer was just heard; its number is enough.
            return f"Answer (Enter: {name if len(name) <= SHORT else at}):"
    return "Answer:"


def matching(typed: str, options: Sequence[Option]) -> list[str]:
    """The ids that a typed answer means: one by its number or its whole words, else beginnings."""
    if typed.isascii() and typed.isdigit():
        at = int(typed)
        return [options[at - 1][0]] if 1 <= at <= len(options) else []
    wanted = typed.casefold()
    if not wanted:
        return []
    whole = [id for id, words in options if wanted in (id.casefold(), words.casefold())]
    return whole or [id for id, words in options if words.casefold().startswith(wanted)]


def holding(typed: str, options: Sequence[Option]) -> list[str]:
    """The ids whose words hold what was typed, where that is long enough to mean something."""
    wanted = typed.casefold()
    if len(wanted) < 3:
        return []
    return [id for id, words in options if wanted in words.casefold()]


def whole_steps(written: str) -> str:
    """Steps one a line: what was broken for the width of a file is put together again.

    Words set apart by several spaces are a little table, whose rows are kept.
    """
    steps: list[str] = []
    for line in filter(None, map(str.strip, written.split("\n"))):
        # Several spaces part a word from what it means; a voice hears none of them.
        goes_on = steps and not _STEP.match(line) and "  " not in line and "  " not in steps[-1]
        if goes_on:
            steps[-1] += f" {line}"
        else:
            steps.append(line)
    return "\n".join(_ROW.sub(": ", step, count=1) for step in steps)
