"""The words of the walk's parts: test card, cautions, causes, what is worth doing next.

Pure functions from what stands to `Content`; which widget shows it is the work of `walk`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.content import Content

from faulttree.screen import draw, text
from faulttree.screen.wording import (
    chance_words,
    figure_shown,
    figures_words,
    minutes_words,
    money_words,
    move_words,
    percent,
    reach_words,
    settles_words,
    sure_words,
    why_limits,
)
from faulttree.screen.work import base_doubts
from faulttree.session.events import ReadingTaken, TakenAs
from faulttree.session.proof import to_repeat
from faulttree.session.standing import cautions_of
from faulttree.session.words import name_of, shown_text, true_text

if TYPE_CHECKING:
    from faulttree.scorer.advice import Suggestion
    from faulttree.screen.work import Advised, Reckoned, Standing, Work
    from faulttree.tree.graph import RouteStep
    from faulttree.tree.model import Cause, Caution, Knowledge, Test

QUIET = "$text-muted"
KEY = "bold $text-primary"


@dataclass(frozen=True, slots=True)
class Next:
    """What the walk is at: a test to do, a cause to repair, or nothing that is left.

    `way` says how it came up; `why` why, in a sentence.
    """

    kind: str
    id: str
    way: TakenAs
    why: str = ""


def way_words(way: TakenAs) -> str:
    """How a test came up."""
    return {"route": "Route", "advice": "Advice", "free": "Your choice"}[way]


def route_why(work: Work, step: RouteStep) -> str:
    """Why the route asks for a step: the reading that led there, and what was passed by."""
    last = step.last
    if last is None:
        return "the first test of this complaint."
    name = work.knowledge.tests[last.test].name
    if last.how == "read":
        return f"because {name} read {last.band}."
    reason = {
        "does not fit": "does not fit this car",
        "cannot do": "cannot be done here",
        "makes no sense yet": "would say nothing yet",
    }[last.how]
    # The reason first: the name is what may be cut.
    return f"passed over, as it {reason}: {name}."


def after_words(work: Work, test: Test) -> str:
    """Which reading a test should come after, if it is not there."""
    read = work.read_now()
    for other, bands in test.after.items():
        if read.get(other) not in bands:
            name = work.knowledge.tests[other].name if other in work.knowledge.tests else other
            return f"It says something only after {name} read {' or '.join(bands)}."
    return ""


def card_head(work: Work, now: Next, cells: int, *, more: bool = False) -> list[Content]:
    """The fixed lines of a test: its name, time and reach, why it comes up, and its dangers.

    Where the name and the time do not fit in one line, the time gets one of its own.
    """
    test = work.knowledge.tests[now.id]
    takes = f"{minutes_words(test.minutes)}, {reach_words(test.reach)}"
    tail = "  PgDn: more" if more else ""
    room = cells - text.width(tail)
    name = text.clean(test.name)
    if cells >= 70 or text.width(name) + text.width(takes) < room:
        tail = f"{takes}{tail}"
        room = cells - text.width(tail) - 1
        rows = [text.line((text.left(name, room), "bold"), " ", (tail, QUIET))]
    else:
        rows = [
            text.line((text.left(name, room), "bold"), (tail, QUIET)),
            text.line((takes, QUIET)),
        ]
    label = way_words(now.way)
    rows.append(
        text.line(
            (f"{label}: " if now.why else f"{label}.", "bold"),
            settles_line(now.why, cells - text.width(label) - 2),
        )
    )
    return [*rows, *dangers(work, test, cells)]


def told_cautions(work: Work, test: Test) -> list[Caution]:
    """The cautions of a test, and those of the complaints that are only told; each once."""
    knowledge = work.knowledge
    told = list(cautions_of(knowledge, "test", test.id))
    for tree in work.state.trees:
        told += [one for one in cautions_of(knowledge, "tree", tree) if one.kind == "tell"]
    return list({caution.id: caution for caution in told}.values())


def dangers(work: Work, test: Test, cells: int) -> list[Content]:
    """The dangers of a test by name, in two rows at most; in full they stand below the steps.

    What has to be answered was answered before the card came up.
    """
    named = [caution.id.replace("-", " ") for caution in told_cautions(work, test)]
    if not named:
        return [text.line(("No special danger is noted; the usual care holds.", QUIET))]
    lead = "Danger: "
    first, *rest = text.wrap(", ".join(named), cells - len(lead))
    rows = [text.line((lead, "bold $text-warning"), (first, "bold"))]
    if rest:
        under = text.clip(" ".join(rest), cells - len(lead))
        rows.append(text.line(" " * len(lead), (under, "bold")))
    return rows


def base_words(work: Work, taken: ReadingTaken) -> Content:
    """What is said of a base reading that is out: why it matters, and what else it may be."""
    knowledge = work.knowledge
    test = knowledge.tests[taken.test]
    rows = [
        text.line((f"{test.name}: {taken.band}, {sure_words(taken.sure)}.", "bold")),
        text.line(""),
        text.paragraph(test.base.strip()),
    ]
    rows += [text.line((said, "bold")) for said in base_doubts(work, taken)]
    return text.stack(rows)


_ITEM = re.compile(r"([0-9]{1,2}[.)]|[-*•])\s+")


def steps(written: str, cells: int) -> list[Content]:
    """Steps as they were written, broken anew for the width, with their numbers standing out."""
    items: list[str] = []
    for line in text.clean(written, lines=True).split("\n"):
        stripped = line.strip()
        if not stripped:
            continue
        # Words set apart by several spaces are a little table; its rows are kept.
        of_table = "  " in stripped
        if items and not of_table and not _ITEM.match(stripped) and "  " not in items[-1]:
            items[-1] += f" {stripped}"
        else:
            items.append(stripped)
    rows: list[Content] = []
    for item in items:
        found = _ITEM.match(item)
        lead = f"{found[1]} " if found else ""
        if found is None and "  " in item:
            rows += _table_row(item, cells)
            continue
        broken = text.wrap(item[len(found[0]) :] if found else item, cells - len(lead))
        rows.append(text.line((lead, "bold"), broken[0]))
        rows += [text.line(" " * len(lead) + row) for row in broken[1:]]
    return rows


def _table_row(item: str, cells: int) -> list[Content]:
    """A row of a little table: where it does not fit, its last column goes on under itself."""
    lead = item[: item.rindex("  ") + 2]
    room = cells - 3 - text.width(lead)
    if room < 16:
        return [text.line(f"   {row}") for row in text.wrap(item, cells - 3)]
    first, *rest = text.wrap(item[len(lead) :], room)
    under = " " * (3 + text.width(lead))
    return [text.line(f"   {lead}{first}"), *(text.line(under + row) for row in rest)]


def card_body(work: Work, test: Test, cells: int) -> Content:
    """The steps, the tools, what spoils the reading, and the dangers in full."""
    rows = steps(test.do, cells)
    if figures := figures_words(test, work.car, work.knowledge):
        # Before all: the steps send the technician to them.
        rows.insert(0, text.line(("This car: ", "bold"), "; ".join(figures), "."))
    if test.tools:
        rows.append(text.line(("Tools: ", "bold"), ", ".join(test.tools)))
    if test.spoils:
        rows.append(text.line(("Spoils it: ", "bold"), _flow(test.spoils)))
    if reasons := why_limits(test, work.car, work.knowledge):
        rows.append(text.line(("Limits rest on: ", "bold"), "; ".join(reasons)))
    if test.base:
        rows.append(text.line(("Base reading: ", "bold"), _flow(test.base)))
    rows += [caution_text(caution) for caution in told_cautions(work, test)]
    if test.source:
        rows.append(text.line((f"Source: {test.source}", QUIET)))
    return text.stack(rows)


READ_IT = "Read it, then press Enter twice."
AS_BEFORE = "As before. Enter: you do as it says."
ENTER_AGAIN = "Enter again: you have read it, and do as it says."
CHOOSE_IT = "Read it, then choose with the arrows and Enter."
"""What to do about a danger. One Enter is easily pressed, and digits would be typed by habit into
the reading that follows; two are meant. What was read before in this session asks for one: two for
every test would soon be pressed unread, and the next new danger with them."""


def cautions_text(cautions: Iterable[Caution], read: frozenset[str]) -> Content:
    """Cautions in full, each once: new ones first, then those that were `read` before."""
    once = {caution.id: caution for caution in cautions}
    new = [caution_text(caution) for id, caution in once.items() if id not in read]
    known = [caution_text(caution) for id, caution in once.items() if id in read]
    if new and known:
        known.insert(0, text.line(("As before:", "bold")))
    return text.stack([*new, *known])


def caution_text(caution: Caution) -> Content:
    """A caution in full: the danger, and what to do about it."""
    return text.line(
        ("! ", "bold $text-warning"), (_flow(caution.danger), "bold"), " ", _flow(caution.do)
    )


def _flow(written: str) -> str:
    """Running text in one line, for the widget to break."""
    return " ".join(written.split())


def suspect_body(cause: Cause) -> Content:
    """What a suspected cause is, and what puts it right."""
    rows = [
        text.line(_flow(cause.what)),
        text.line(("Repair: ", "bold"), _flow(cause.repair.do)),
        text.line(
            ("Takes: ", "bold"),
            f"{minutes_words(cause.repair.minutes)}, parts {money_words(cause.repair.parts)}",
        ),
    ]
    if cause.set_up:
        rows.append(text.line(("Afterwards: ", "bold"), _flow(cause.set_up)))
    return text.stack(rows)


def cause_rows(
    reckoned: Reckoned, count: int, cells: int, *, two_lines: bool = False, moves: bool = True
) -> list[Content]:
    """The likeliest causes: rank, name, bar, chance in numbers and words, and how it moved.

    Without `moves` nothing was read yet that could have moved them.
    """
    shown = [cause for cause in reckoned.causes if not cause.repaired][:count]
    rows: list[Content] = []
    for rank, cause in enumerate(shown, 1):
        move = move_words(cause.before, cause.chance) if moves else ""
        if two_lines:
            rows.append(text.line((f"{rank} ", KEY), (text.clip(cause.name, cells - 2), "bold")))
            rows.append(_second_line(cause, move, cells))
        else:
            rows.append(_one_line(rank, cause, move, cells))
    return rows


def _one_line(rank: int, cause: Standing, move: str, cells: int) -> Content:
    words = chance_words(cause.chance)
    move = text.left(move, 16)
    room = cells - 2 - 8 - 6 - 14 - 1 - text.width(move)
    style = "bold" if cause.chance >= 0.2 else ""
    return text.line(
        (f"{rank} ", KEY),
        (text.left(cause.name, room), style),
        " ",
        (draw.bar(cause.chance, 7), "$text-primary"),
        (text.right(percent(cause.chance), 6), "bold"),
        (f" {text.left(words, 13)}", ""),
        (f" {move}", _weight_of(move)),
    )


def _weight_of(move: str) -> str:
    return "bold" if move.startswith(("▲", "▼")) else QUIET


def _second_line(cause: Standing, move: str, cells: int) -> Content:
    return text.line(
        "  ",
        (draw.bar(cause.chance, 10), "$text-primary"),
        (text.right(percent(cause.chance), 6), "bold"),
        f" {text.left(chance_words(cause.chance), 13)}",
        (f" {move}", _weight_of(move)),
    )


def doubts(reckoned: Reckoned, advised: Advised | None) -> list[Content]:
    """What is to be known about the chances themselves: rough, or readings that do not agree."""
    rows = []
    if reckoned.trouble:
        rows.append(text.line(("! ", "bold $text-warning"), (reckoned.trouble, "bold")))
    if not reckoned.exact:
        rows.append(
            text.line(
                ("! Rough figures: ", "bold $text-warning"),
                "too much is open at once to count it all; "
                f"{percent(reckoned.omitted)} is left out.",
            )
        )
    if advised is not None and advised.conflict is not None and advised.conflict.serious:
        rows.append(text.line(("! ", "bold $text-warning"), (advised.conflict.message, "bold")))
    return rows


def nothing_left(work: Work, keys: tuple[str, str]) -> str:
    """What to do when the advice names nothing more: prove and close a cure, or look further.

    `keys` are those of the proof and of closing.
    """
    if not work.gone:
        return "nothing is left that would tell more."
    prove, close = (key.removeprefix("Space ") for key in keys)
    if any(not due.done and not due.cannot for due in to_repeat(work.state, work.knowledge)):
        return f"the complaint is gone. {prove}: prove the repair; {close}: close the session."
    # A complaint that was taken is there until a repair, so there was one.
    return f"the complaint is gone and the repair proved. {close}: close the session."


NARROW_ROUTES, WIDE_ROUTES = 2, 4
"""How many routes are told at most, so that the entry of the reading never leaves the screen."""


def _routes_shown(
    steps: dict[str, RouteStep], now: Next | None, most: int
) -> tuple[list[tuple[str, RouteStep]], int]:
    """The routes that are told, each step once, the present one among them; and how many are not.

    What still asks for something comes before what has ended.
    """
    once: dict[tuple[str, str], tuple[str, RouteStep]] = {}
    for tree, step in steps.items():
        once.setdefault((step.kind, step.id if step.kind != "end" else tree), (tree, step))
    ranked = sorted(
        once.values(),
        key=lambda pair: (
            now is None or (pair[1].kind, pair[1].id) != (now.kind, now.id),
            pair[1].kind == "end",
        ),
    )
    if len(ranked) <= most:
        return list(once.values()), 0
    kept = ranked[: most - 1]
    return [pair for pair in once.values() if pair in kept], len(ranked) - len(kept)


def ways(
    work: Work,
    steps: dict[str, RouteStep],
    advised: Advised | None,
    now: Next | None,
    cells: int,
    *,
    full: bool = False,
    keys: tuple[str, str] = ("r", "a"),
    ends: tuple[str, str] = ("p", "c"),
) -> list[Content]:
    """Route and advice side by side: what each asks for, its minutes, and what it would settle.

    `keys` are those that take the route's and the advice's step, `ends` those of the proof and of
    closing.
    """
    # A letter that goes to a choice just now is not offered as a key.
    route_key, advice_key = (" " if key.startswith("Space ") else key or " " for key in keys)
    rows: list[Content] = []
    by_id = {(s.kind, s.id): s for s in advised.suggestions} if advised else {}
    best = advised.suggestions[0] if advised and advised.suggestions else None
    shown, more = _routes_shown(steps, now, WIDE_ROUTES if full else NARROW_ROUTES)
    for tree, step in shown:
        of_tree = f" ({work.knowledge.trees[tree].complaint})" if len(steps) > 1 and full else ""
        here = now is not None and now.kind == step.kind and now.id == step.id
        if step.kind == "test":
            test = work.knowledge.tests[step.id]
            suggestion = by_id.get(("test", step.id))
            tail = _expects(suggestion, test.expect) if suggestion else ""
            takes = minutes_words(test.minutes)
            rows += _way(
                route_key, "Route ", here, f"{test.name}{of_tree}", takes, tail, cells, "route"
            )
            if full and suggestion:
                rows += _settles(suggestion, cells, 3 if len(steps) == 1 else 1)
        elif step.kind == "cause":
            cause = work.knowledge.causes[step.id]
            takes = minutes_words(cause.repair.minutes)
            words = f"suspect: {cause.name}{of_tree}"
            rows += _way(route_key, "Route ", here, words, takes, "", cells, "route")
        else:
            why = step.why or "The route ends here."
            rows += _way(" ", "Route ", False, why, "", "", cells, "")
    if more:
        key = keys[0].removeprefix("Space ")
        said = f"and {more} more; {key} goes from one to the next"
        rows.append(text.line(" " * 11, (said, QUIET)))
    if advised is None:
        rows.append(
            text.line((f"{advice_key} ", KEY), ("Advice  ", "bold"), ("working it out...", QUIET))
        )
    elif best is None:
        for at, said in enumerate(text.wrap(nothing_left(work, ends), cells - 11)):
            lead = "  Advice   " if at == 0 else " " * 11
            rows.append(text.line((lead, "bold"), (said, "bold" if work.gone else "")))
    else:
        here = now is not None and now.kind == ("test" if best.kind == "test" else "cause")
        here = here and now is not None and now.id == best.id
        takes = minutes_words(best.minutes)
        words = best.name
        # What stands right above need not be told twice; which one it is, where there are several.
        same = any((step.kind, step.id) == (best.kind, best.id) for _, step in shown)
        if same and len(shown) == 1:
            words, takes = "the same: it is worth most for its cost", ""
        if best.kind == "repair":
            words = f"repair now: {best.name}"
            takes += f", parts {money_words(best.parts)}" if best.parts else ""
        tail, note = ("", "") if full else (next(iter(best.settles), ""), best.note)
        rows += _way(advice_key, "Advice", here, words, takes, tail, cells, "advice", note)
        if full:
            if best.note:
                rows += [
                    text.line((f"           {row}", QUIET))
                    for row in text.wrap(best.note, cells - 11)
                ]
            if not same:
                rows += _settles(best, cells, 3 if len(steps) == 1 else 2)
    return rows


def _expects(suggestion: Suggestion, expect: str) -> str:
    return settles_words(suggestion.bands, expect)


def _way(
    key: str,
    label: str,
    here: bool,
    words: str,
    takes: str,
    tail: str,
    cells: int,
    method: str,
    note: str = "",
) -> list[Content]:
    lead = 11
    mark = "▶" if here else " "
    takes = f", {takes}" if takes else ""
    said = text.clip(words, cells - lead - text.width(takes)) + takes
    rest = cells - lead - text.width(said) - 2
    shown = settles_line(tail, rest) if tail and rest > 24 else ""
    if note and text.width(note) <= rest:
        shown = note
    made = text.line(
        (f"{key} ", KEY),
        (f"{label} {mark} ", "bold"),
        (said, "bold" if here else ""),
        (f"  {shown}" if shown else "", QUIET),
    )
    return [text.link(made, f"screen.{method}") if method else made]


_LEAD = re.compile(r"(?P<band>.+?)(?P<chance> \([^)]*%\): )")
_MOVES = re.compile(r"(?P<name>.+) (?P<was>[≤≥]?[0-9]+ %) -> (?P<now>[≤≥]?[0-9]+ %)")


def settles_line(said: str, cells: int, word: str = "if") -> str:
    """What a reading would do, in so many cells; the names give way, the figures stay.

    `word` leads to the reading: `if` for one that may come.
    """
    lead = _LEAD.match(said)
    if lead is None:
        return text.clip(said, cells)
    told = said[lead.end() :]
    moves = _MOVES.fullmatch(told)
    if moves is None:
        return text.clip(f"{word} {lead[0]}{told}", cells)
    tail = f" {moves['was']} → {moves['now']}"
    room = cells - text.width(f"{word} {lead['chance']}{tail}")
    # Both names keep a part that can be told from others; the cause takes what the band leaves.
    band = text.clip(lead["band"], max(3, room - max(5, room // 2)))
    name = text.clip(moves["name"], max(2, room - text.width(band)))
    return text.clip(f"{word} {band}{lead['chance']}{name}{tail}", cells)


def _settles(suggestion: Suggestion, cells: int, count: int) -> list[Content]:
    return [
        text.line((f"           {settles_line(line, cells - 11)}", QUIET))
        for line in suggestion.settles[:count]
    ]


def last_reading(event: ReadingTaken, knowledge: Knowledge, cells: int, again: str) -> Content:
    """The reading that was taken last: what it showed, and whether to take it again.

    `again` is the key that does so.
    """
    test = knowledge.tests.get(event.test)
    good = test is not None and event.band == test.expect
    shown = "" if event.choice else f" {text.clip(_shown(event, test), cells)},"
    band, sure = f"{'✓' if good else '✗'} {event.band}", f", {sure_words(event.sure)}."
    # The name gives way where that saves a row, but is always to be told from others.
    room = cells - text.width(f"Last: :{shown} {band}{sure}")
    name = text.clip(name_of(event.test, knowledge), max(18, room))
    pieces: list[text.Piece] = [("Last: ", "bold"), f"{name}:{shown} ", (band, "bold"), sure]
    if event.near:
        key = f": {again} takes it again" if again else ""
        pieces.append((f" Near a limit{key}.", "bold"))
    return text.line(*pieces)


def _shown(event: ReadingTaken, test: Test | None) -> str:
    """What was read, with what it truly was, and what a sum of several readings came to.

    One figure typed in another unit is told with the digits that a gauge has.
    """
    several = test is not None and test.reading is not None and len(test.reading.parts) > 1
    true = true_text(event, test)
    if several:
        came = figure_shown(event, test)
        return shown_text(event, test) + (f" = {came}" if came else "")
    if test is not None and test.kind == "number" and not true and event.figure is not None:
        return figure_shown(event, test)
    return shown_text(event, test) + (f" (true {true})" if true else "")


MUCH = 0.02
"""From what change of a chance on more than one is told."""


def moves_words(reckoned: Reckoned, count: int, cells: int) -> list[str]:
    """What the last entry moved most, in plain words, each in so many cells at most."""
    # What would be shown by the same figure before and after did not move.
    moved = [
        cause
        for cause in reckoned.causes
        if not cause.repaired and percent(cause.before) != percent(cause.chance)
    ]
    moved.sort(key=lambda cause: -abs(cause.chance - cause.before))
    if any(abs(cause.chance - cause.before) >= MUCH for cause in moved):
        moved = [cause for cause in moved if abs(cause.chance - cause.before) >= MUCH]
    else:
        # Where all moves are small, one stands for them.
        count = 1
    said = []
    for cause in moved[:count]:
        word = "rose" if cause.chance > cause.before else "fell"
        tail = f" {word} {percent(cause.before)} to {percent(cause.chance)}"
        said.append(text.clip(cause.name, cells - text.width(tail)) + tail)
    return said
