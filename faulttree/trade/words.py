"""Figures and foreign text made fit for a sentence.

Shared by the modules of this package for their messages and workings; how a screen lays text
out is left to the screen.
"""

from __future__ import annotations

from collections.abc import Iterable

LONGEST_QUOTE = 40


def plain(value: float, digits: int = 6) -> str:
    """Write a number with so many significant digits, without an exponent or trailing noughts."""
    text = f"{value:.{digits}g}"
    if "e" in text:
        exponent = int(text.partition("e")[2])
        text = f"{value:.{max(0, digits - 1 - exponent)}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def quoted(text: str) -> str:
    """Quote foreign text in one short line: control and invisible characters become `?`."""
    clean = "".join(c if c.isprintable() else "?" for c in text[: LONGEST_QUOTE + 1])
    return f"'{clean[:LONGEST_QUOTE]}...'" if len(clean) > LONGEST_QUOTE else f"'{clean}'"


def nearest(word: str, words: Iterable[str]) -> str | None:
    """The word most like the one given, or None when nothing is close.

    Capitals, and whether words are parted by a space, a hyphen or a stroke, do not matter.
    """
    # 5 ms, and needed only once something has gone wrong.
    from difflib import get_close_matches

    options = list(words)
    found = get_close_matches(word[:LONGEST_QUOTE], options, n=1, cutoff=0.6)
    if found:
        return found[0]
    return {_folded(option): option for option in options}.get(_folded(word))


def _folded(word: str) -> str:
    return word.casefold().replace("_", "-").replace(" ", "-")


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """A sentence that offers the nearest word, with a leading space, or nothing at all."""
    near = nearest(word, words)
    return f" Did you mean {near}?" if near else ""


def percent(chance: float) -> str:
    """A chance in whole per cent, never a false 0 or 100."""
    if chance <= 0.0:
        return "0 %"
    if chance <= 0.005:
        return "≤1 %"
    if chance >= 1.0:
        return "100 %"
    if chance >= 0.995:
        return "≥99 %"
    return f"{100.0 * chance:.0f} %"
