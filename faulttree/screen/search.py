"""How well phrases answer the words that somebody types to find one of them; without any widget."""

from __future__ import annotations

import re
from collections.abc import Sequence

_WORD = re.compile(r"[^\W_]+")


def rank(query: str, phrases: Sequence[str]) -> float:
    """How well phrases answer a driver's words: whole words count most, beginnings of words less.

    0 when none of the words is found anywhere. Short words that say little are passed over
    where others are there.
    """
    wanted = [word.casefold() for word in _WORD.findall(query)]
    if not wanted:
        return 1.0
    telling = [word for word in wanted if len(word) > 2] or wanted
    best = 0.0
    words_of = [[word.casefold() for word in _WORD.findall(phrase)] for phrase in phrases]
    everything = [word for words in words_of for word in words]
    found = sum(_word_score(word, everything) > 0 for word in telling)
    if not found:
        return 0.0
    for words in words_of:
        score = sum(_word_score(word, words) for word in telling) / len(telling)
        best = max(best, score)
    return best + found / len(telling)


def _word_score(wanted: str, words: Sequence[str]) -> float:
    best = 0.0
    for word in words:
        if word == wanted:
            return 1.0
        if word.startswith(wanted):
            best = max(best, 0.8)
        elif len(wanted) > 4 and len(word) > 3 and _stem(word) == _stem(wanted):
            best = max(best, 0.7)
        elif len(wanted) > 3 and wanted in word:
            best = max(best, 0.4)
    return best


def _stem(word: str) -> str:
    """A word without its commonest endings, so that `stalls` finds `stalling`."""
    for ending in ("ing", "ed", "es", "s"):
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            return word[: -len(ending)]
    return word
