"""Problems found in a file: where, what, why it matters, and what to write instead.

Everything that reads trees reports through these; what is a problem is decided elsewhere
(`source`, `schema`, `load`, `check`), and how a list of them is shown is decided in `check`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from faulttree.trade.words import nearest
from faulttree.tree.model import Place

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a file.

    `rule` is the id of the page that explains it (`faulttree check --explain RULE`); `hint` says
    what to do, in a few words, or is empty.
    """

    place: Place
    message: str
    hint: str = ""
    rule: str = ""
    severity: Severity = "error"

    def __str__(self) -> str:
        hint = f"; {self.hint}" if self.hint else ""
        rule = f" [{self.rule}]" if self.rule else ""
        return visible(f"{self.place}: {self.severity}: {self.message}{hint}{rule}")


def visible(text: str) -> str:
    """Text on one line, with control characters and bidirectional marks shown as symbols.

    Messages quote what stands in files; none of it may reach a terminal as a command.
    """
    if text.isprintable():
        return text
    return "".join(_symbol(c) for c in text)


def _symbol(character: str) -> str:
    code = ord(character)
    if character.isprintable():
        return character
    if code < 0x20:
        return chr(0x2400 + code)
    return "\N{SYMBOL FOR DELETE}" if code == 0x7F else "\N{REPLACEMENT CHARACTER}"


class TreeError(ValueError):
    """Files that cannot be used as they stand, with every problem that was found in them."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = tuple(problems)


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """The problems file by file and line by line, each once."""
    seen = dict.fromkeys(problems)
    return sorted(seen, key=lambda p: (p.place.file, p.place.line, p.place.column, p.message))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A hint that names the known word nearest to `word`, or "" when none is near."""
    near = nearest(word, known)
    return f"did you mean `{near}`?" if near else ""


def listed(words: Iterable[str]) -> str:
    """Words in quotes with commas between them, for a message."""
    return ", ".join(f"`{word}`" for word in words)
