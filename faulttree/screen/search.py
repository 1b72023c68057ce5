"""How well phrases answer the words that somebody types to find one of them; without any widget."""

from __future__ import annotations

import re
from collections.abc import Sequence

_WORD = re.compile(r"[^\W_]+")
_LITTLE = frozenset({"and", "for", "from", "has", "the", "that", "this", "with"})
"""Words that stand in so many phrases that they tell none apart."""


def rank(query: str, phrases: Sequence[str]) -> float:
    """How well phrases answer the words that were typed; 0 when none of them is found anywhere.

    What begins with the typed words as they stand comes before what has them inside, that before
    what has all of them anywhere, and that before what has some. The last word may still be half
    typed. The first phrase counts more than the others. Whole words count most, beginnings less;
    words that say little are passed over where others are there.
    """
    wanted = [word.casefold() for word in _WORD.findall(query)]
    if not wanted:
        return 1.0
    telling = [word for word in wanted if len(word) > 2 and word not in _LITTLE] or wanted
    words_of = [[word.casefold() for word in _WORD.findall(phrase)] for phrase in phrases]
    everything = [word for words in words_of for word in words]
    found = sum(_word_score(word, everything) > 0 for word in telling)
    if not found:
        return 0.0
    score, whole = 0.0, 0.0
    for at, words in enumerate(words_of):
        mean = sum(_word_score(word, words) for word in telling) / len(telling)
        score = max(score, mean)
        # The first is what stands in the list; the others nobody sees as he types.
        whole = max(whole, _whole_phrase(wanted, words) * (0.5 if at else 1.0))
    return score + found / len(telling) + (found == len(telling)) + whole


def _whole_phrase(wanted: Sequence[str], words: Sequence[str]) -> int:
    """2 when the words begin with those that are wanted, in their order; 1 when they hold them."""
    *first, last = wanted
    for at in range(len(words) - len(first)):
        *before, end = words[at : at + len(wanted)]
        if before == first and end.startswith(last):
            return 2 if at == 0 else 1
    return 0


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
