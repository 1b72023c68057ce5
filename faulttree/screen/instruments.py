"""Which instruments can take a reading, best first; for the screens and the walk line by line.

Files say an instrument's unit and nothing of its range, and a unit alone says little: a wire gauge
and a road both have a length. So what an instrument can read is told by the tests that ask for it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from faulttree.trade.units import convert, convert_difference, kind, same_kind
from faulttree.tree.model import Instrument, Knowledge, Part, Test

Reach = Mapping[str, tuple[float, float]]

LEAST_COVERED, WHOLE = 0.3, 0.9
"""How much of what a test may read an instrument must reach to be offered, and to reach it all."""
COARSEST, FINEST = 1 / 4, 1e-6
"""How far an instrument may be out, in shares of what a test may read; finer ones are for less."""

NAMES_NOTHING = frozenset({"angle", "share", "a plain number"})
"""Kinds of unit that do not say what is measured: percent of carbon monoxide, or of leakage."""
MERCURY = frozenset({"inHg", "mmHg"})
"""Units in which the trade reads suction, and no other pressure."""


def offered(test: Test, part: Part, knowledge: Knowledge) -> list[Instrument]:
    """The instruments that can read a part of a test, those that are meant for it first.

    That is the one it asks for, then those that its tools name, then those in its own unit; of
    those alike, what reaches all that may be read comes first, and then the finest.
    """
    reach = _reach(knowledge)

    def order(one: Instrument) -> tuple[bool, float, bool, bool, float]:
        if one.id == part.instrument:
            return False, 0.0, False, False, 0.0
        partly = _covered(one, part, reach) < WHOLE
        width = convert_difference(one.accuracy, one.unit, part.unit)
        return True, -_named(one, test), one.unit != part.unit, partly, width

    known = [one for one in knowledge.instruments.values() if _reads(one, test, part, reach)]
    asked = knowledge.instruments.get(part.instrument or "")
    of_cylinders = asked is not None and _is_for_cylinders(asked, knowledge)
    fitting = [
        one
        for one in known
        if _asks_for(test, one) or _is_for_cylinders(one, knowledge) == of_cylinders
    ]
    return sorted(fitting, key=order)


def _is_for_cylinders(one: Instrument, knowledge: Knowledge) -> bool:
    """Whether an instrument is made for cylinders: no other test asks for it.

    A gauge that is screwed into a plug hole and holds the highest stroke reads psi like one for a
    fuel line, and yet neither can stand in for the other.
    """
    asking = [test for test in knowledge.tests.values() if _asks_for(test, one)]
    return bool(asking) and all(_is_of_cylinders(test, knowledge) for test in asking)


def _asks_for(test: Test, one: Instrument) -> bool:
    """Whether a test names an instrument, for one of its readings or among its tools."""
    parts = test.reading.parts if test.reading is not None else ()
    if any(part.instrument == one.id for part in parts):
        return True
    return any(same_kind(part.unit, one.unit) for part in parts) and _named(one, test) == 1.0


def _is_of_cylinders(test: Test, knowledge: Knowledge) -> bool:
    """Whether a test reads every cylinder, or goes on from one that does with those it found."""
    found = [test, *(knowledge.tests[id] for id in test.after if id in knowledge.tests)]
    return any(one.reading is not None and one.reading.per_cylinder for one in found)


def _reads(one: Instrument, test: Test, part: Part, reach: Reach) -> bool:
    """Whether an instrument can read a part at all."""
    if one.id == part.instrument:
        return True
    if not part.unit or not same_kind(one.unit, part.unit) or not _is_of_its_size(one, part, reach):
        return False
    measures = kind(part.unit)
    if measures == "share" and one.id in reach:
        # It has a use of its own, and that is another share.
        return False
    if measures in NAMES_NOTHING or (part.unit in MERCURY and one.unit not in MERCURY):
        return _named(one, test) == 1.0
    return True


def _is_of_its_size(one: Instrument, part: Part, reach: Reach) -> bool:
    """Whether an instrument tells a part's readings apart, and reaches enough of them."""
    if part.possible is None:
        return True
    low, high = part.possible
    width = convert_difference(one.accuracy, one.unit, part.unit)
    if not (high - low) * FINEST <= width <= (high - low) * COARSEST:
        return False
    return _covered(one, part, reach) >= LEAST_COVERED


def _covered(one: Instrument, part: Part, reach: Reach) -> float:
    """The share of what a part may read that an instrument reaches; 1 where nothing is known."""
    if part.possible is None or one.id not in reach:
        return 1.0
    low, high = part.possible
    least, most = (convert(end, one.unit, part.unit) for end in reach[one.id])
    # Suction is a pressure with the other sign: some tests count it below nought, some above.
    cover = max(min(most, high) - max(least, low), min(most, -low) - max(least, -high))
    return cover / (high - low)


def _reach(knowledge: Knowledge) -> Reach:
    """What every instrument is known to read, in its own unit: all that is asked of it."""
    found: dict[str, tuple[float, float]] = {}
    for test in knowledge.tests.values():
        for part in test.reading.parts if test.reading is not None else ():
            one = knowledge.instruments.get(part.instrument or "")
            if one is None or part.possible is None or not same_kind(one.unit, part.unit):
                continue
            low, high = (convert(end, part.unit, one.unit) for end in part.possible)
            least, most = found.get(one.id, (low, high))
            found[one.id] = min(least, low), max(most, high)
    return found


def _named(one: Instrument, test: Test) -> float:
    """How far a tool of a test is such an instrument: the share of its name's words found there.

    Of the name, what comes before that which tells it from others of its sort.
    """
    head = re.split(r",| (?:with|for|of|on|or|and|against) ", one.name)[0]
    words = _words(head)
    return max((len(words & _words(tool)) / len(words) for tool in test.tools if words), default=0)


def _words(said: str) -> set[str]:
    return set(re.findall(r"\w+", said.casefold()))
