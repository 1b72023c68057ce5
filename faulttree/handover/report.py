"""What the report of a session says, in blocks: everything a colleague needs to go on, or to check.

The chances are worked out again from what stands at the end; a reading that was withdrawn is told,
marked, and counts for nothing. Reports say how things stand and certify nothing.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime

from faulttree.handover.blocks import Block, Facts, Heading, Paragraph, Table, facts
from faulttree.scorer.evidence import Evidence
from faulttree.scorer.explain import biggest_moves, conflict, percent
from faulttree.session.chances import Reckoning, before_readings, reckon
from faulttree.session.events import (
    CautionAcknowledged,
    ComplaintChecked,
    ComplaintTaken,
    Envelope,
    Opened,
    ReadingTaken,
    Repaired,
    Withdrawn,
)
from faulttree.session.proof import ProofRow, Side, before_beside_after, remaining, taken_when
from faulttree.session.standing import (
    car_of,
    cautions_of,
    evidence,
    specs_of,
    unanswered,
)
from faulttree.session.state import State, standing_until
from faulttree.session.words import (
    figure_text,
    name_of,
    part_words,
    say,
    shown_text,
    true_text,
    value_text,
    with_unit,
)
from faulttree.trade.units import convert, same_kind
from faulttree.trade.words import plain
from faulttree.tree.car import Car, Known
from faulttree.tree.model import Caution, Knowledge, Test, Value

RECORDS = (
    "This report records what was found and done. It certifies nothing: neither that the car is "
    "fit for the road, nor that it meets any rule on exhaust, noise or safety. What local law, the "
    "maker's instructions or licensed practice ask for stands above it."
)
JUDGEMENT = (
    "The chances rest on the trees as they stood when the session was opened. They are a help to "
    "judgement and no measurement. What stands after ± is two standard uncertainties."
)
_ORIGINS: Mapping[str, str] = {
    "typed": "typed in this session",
    "vehicle": "the car's own file",
    "generic": "generic figure, not the maker's",
}
_LEADS: Mapping[str, str] = {
    "vehicle": "From the car's own file",
    "typed": "Typed in this session",
    "generic": "Generic figures, not the maker's",
    "assumed": "Assumed, to be checked on the car",
}
"""What stands over the figures of each origin."""
_TAKEN_AS: Mapping[str, str] = {
    "route": "the authored route",
    "advice": "the advice",
    "free": "the technician's own choice",
}
_SHOWING: Mapping[str, str] = {"yes": "yes", "no": "no", "unknown": "not said"}
SEEN_ON_CAR = "seen on the car"
LEAST_LIKELY_SHOWN = 0.005
MOST_CAUSES = 15
DIGITS = 4
"""Significant digits of limits and specs: more than any gauge in the shop can tell."""


def report(state: State, knowledge: Knowledge, trouble: str = "") -> list[Block]:
    """The report of a session as it stands; `trouble` says what is wrong with its log, if anything.

    Raises ValueError for a state without a session.
    """
    if state.opened is None:
        raise ValueError("there is no session to report on")
    reckoning = reckon(state, knowledge)
    blocks: list[Block] = [Heading(1, f"Handover: {state.opened.title}")]
    if trouble:
        blocks.append(Paragraph(f"The log of this session is damaged: {trouble}.", True))
    blocks += _in_short(state, knowledge, reckoning)
    blocks += _complaints(state, knowledge)
    blocks += _vehicle(state, knowledge)
    blocks += _course(state, knowledge)
    blocks += _not_done(state, knowledge)
    blocks += _causes(state, knowledge, reckoning)
    blocks += _repairs(state, knowledge)
    blocks += _proof(state, knowledge)
    blocks += _remaining(state, knowledge)
    blocks += _cautions(state, knowledge)
    blocks += _notes(state)
    blocks += [Heading(2, "What this report is"), Paragraph(RECORDS), Paragraph(JUDGEMENT)]
    return blocks


# --- the parts -------------------------------------------------------------------------------


def _in_short(state: State, knowledge: Knowledge, reckoning: Reckoning) -> list[Block]:
    opened, first, last = state.opened, state.history[0], state.history[-1]
    assert opened is not None
    people = ", ".join(dict.fromkeys(envelope.who for envelope in state.history))
    closed = state.closed.event if state.closed else None
    standing = f"closed: {closed.outcome}" if closed else "open, work goes on"
    confirmed = ", ".join(name_of(cause, knowledge) for cause in closed.causes) if closed else ""
    likely = [
        f"{reckoning.names[cause]} {percent(chance)}"
        for cause, chance in _by_chance(reckoning.now)[:3]
        if chance >= LEAST_LIKELY_SHOWN
    ]
    done = ", ".join(name_of(fact.event.cause, knowledge) for fact in state.repairs)
    items = [
        ("State", standing),
        (
            "Confirmed cause" if closed and len(closed.causes) == 1 else "Confirmed causes",
            confirmed,
        ),
        ("Repaired", done),
        ("Most likely present now", ", ".join(likely) if not closed or not confirmed else ""),
        ("Complaint", "; ".join(_complaint_now(state, knowledge))),
        ("Opened", f"{_time(first.at)} by {first.who}"),
        ("Last entry", f"{_time(last.at)} by {last.who}"),
        ("People", people),
        ("Program", opened.program),
        ("Knowledge", opened.digest[:16]),
    ]
    return [facts(items)]


def _complaint_now(state: State, knowledge: Knowledge) -> list[str]:
    lines = []
    found = state.found()
    for tree in dict.fromkeys(fact.event.tree for fact in state.complaints):
        stages = {stage: what for (which, stage), what in found.items() if which == tree}
        what = stages[max(stages)]
        since = " (not looked for since the last repair)" if max(stages) < state.stage else ""
        lines.append(f"{name_of(tree, knowledge)}: {what}{since}")
    return lines


def _complaints(state: State, knowledge: Knowledge) -> list[Block]:
    blocks: list[Block] = [Heading(2, "The complaint")]
    if not state.complaints:
        blocks.append(Paragraph("No complaint was taken down."))
    for tree in dict.fromkeys(fact.event.tree for fact in state.complaints):
        taken = state.complaint(tree)
        assert taken is not None
        blocks.append(Heading(3, name_of(tree, knowledge)))
        blocks.append(
            facts(
                [
                    ("The driver says", taken.said or "nothing was noted"),
                    ("How often", taken.how_often),
                    ("Seen before work began", _SHOWING[taken.showing]),
                    *taken.answers.items(),
                ]
            )
        )
    return blocks


def _vehicle(state: State, knowledge: Knowledge) -> list[Block]:
    car = car_of(state, knowledge)
    blocks: list[Block] = [Heading(2, "The car"), Paragraph(car.name or "The car was not named.")]
    used: dict[str, str] = {}
    for fact in state.readings:
        if fact.event.test in knowledge.tests:
            for spec in specs_of(knowledge.tests[fact.event.test], car):
                used.setdefault(spec, fact.event.unit)
    kind = [
        f"{name_of(spec, knowledge)}: {value_text(known.value)}"
        for spec, known in car.specs.items()
        if spec in knowledge.specs and knowledge.specs[spec].choices and known.origin != "generic"
    ]
    if kind:
        blocks.append(Paragraph(f"{'; '.join(kind)}."))
    # A figure from a file or a default that no reading stood on says nothing here.
    shown = [spec for spec in car.specs if spec in used or car.specs[spec].origin == "typed"]
    if shown:
        blocks += [Heading(3, "Figures behind the limits"), *_figures(shown, used, car, knowledge)]
    unknown = [name_of(spec, knowledge) for spec in used if spec not in car.specs]
    if unknown:
        blocks.append(Paragraph(f"Not known for this car: {', '.join(unknown)}."))
    checks = [
        f"{name_of(fact.event.instrument, knowledge)}: {plain(fact.event.shown)} shown was "
        f"{plain(fact.event.true)} true"
        + (f", against {fact.event.against}" if fact.event.against else "")
        for fact in state.instruments
    ]
    if checks:
        blocks.append(Heading(3, "Instruments checked"))
        blocks.append(Facts(tuple(("", line) for line in checks)))
    return blocks


def _figures(
    shown: Sequence[str], used: Mapping[str, str], car: Car, knowledge: Knowledge
) -> list[Block]:
    """Figures of the car under where they came from, which is said once for all of them.

    `used` holds the figures that a limit stands on, each with the unit of that limit.
    """
    blocks: list[Block] = []
    by_origin: dict[str, list[str]] = {}
    for spec in shown:
        known = car.specs[spec]
        # The source of what is only assumed says where to look, not that anybody has looked.
        assumed = known.origin == "generic" and known.source == SEEN_ON_CAR
        by_origin.setdefault("assumed" if assumed else known.origin, []).append(spec)
    for origin, lead in _LEADS.items():
        specs = by_origin.get(origin)
        if not specs:
            continue
        sources = {spec: _source(car.specs[spec], knowledge) for spec in specs}
        same = next(iter(sources.values())) if len(set(sources.values())) == 1 else ""
        items = []
        for spec in specs:
            value = _in_unit(car.specs[spec].value, car.specs[spec].unit, used.get(spec, ""))
            differs = "" if same else sources[spec]
            notes = [differs, "" if spec in used else "no limit stands on it"]
            marked = "; ".join(filter(None, notes))
            items.append((name_of(spec, knowledge), f"{value} ({marked})" if marked else value))
        blocks += [Paragraph(f"{lead} ({same}):" if same else f"{lead}:"), Facts(tuple(items))]
    return blocks


def _source(known: Known, knowledge: Knowledge) -> str:
    """Where a figure stands, or what it was worked out of and how."""
    if known.origin == "generic" and known.source == SEEN_ON_CAR:
        return ""
    if not known.out_of:
        return known.source
    parts = " and ".join(name_of(spec, knowledge) for spec in known.out_of)
    return "; ".join(filter(None, (f"worked out of {parts}", known.source)))


def _course(state: State, knowledge: Knowledge) -> list[Block]:
    """Everything that happened, in order; the withdrawn entries are there and marked."""
    blocks: list[Block] = [Heading(2, "What was done, in order")]
    reckoner = Reckoner(state, knowledge)

    def line(envelope: Envelope, text: str) -> None:
        """One line for an entry that needs no more; lines in a row share a list."""
        item = (f"Entry {envelope.sequence}, {_stamp(envelope)}", text)
        if isinstance(blocks[-1], Facts) and blocks[-1].items[0][0].startswith("Entry "):
            blocks[-1] = Facts((*blocks[-1].items, item))
        else:
            blocks.append(Facts((item,)))

    for envelope in state.history:
        event = envelope.event
        if isinstance(event, Opened | ComplaintTaken):
            continue
        gone = state.withdrawn.get(envelope.sequence)
        if isinstance(event, CautionAcknowledged) and gone is None:
            # These have a part of their own, and there are many.
            continue
        number = f"Entry {envelope.sequence}, "
        match event:
            case ReadingTaken():
                test = knowledge.tests.get(event.test)
                name = name_of(event.test, knowledge)
                blocks.append(Heading(3, f"{number}{name}: {event.band}", gone is not None))
                items = _reading_items(envelope, event, test, knowledge)
                items += _effect(reckoner, envelope, gone)
                blocks.append(facts(items))
            case Repaired():
                name = f"Repaired: {name_of(event.cause, knowledge)}"
                blocks.append(Heading(3, number + name, gone is not None))
                minutes = "" if event.minutes is None else plain(event.minutes)
                items = [
                    ("When", _stamp(envelope)),
                    ("What was done", _done(event, knowledge)),
                    ("Minutes", minutes),
                ]
                blocks.append(facts(items + _effect(reckoner, envelope, gone)))
            case ComplaintChecked():
                blocks.append(Heading(3, number + say(event, knowledge), gone is not None))
                items = [("When", _stamp(envelope)), ("How", event.how)]
                blocks.append(facts(items + _effect(reckoner, envelope, gone)))
            case _:
                mark = "" if gone is None else f" (withdrawn by entry {gone.sequence})"
                line(envelope, say(event, knowledge) + mark)
    return blocks


class Reckoner:
    """The chances after each standing entry, worked out again only when the evidence changed."""

    def __init__(self, state: State, knowledge: Knowledge) -> None:
        self._state = state
        self._knowledge = knowledge
        self._last: tuple[Evidence, Car, Reckoning] | None = None

    def moves(self, sequence: int) -> list[str]:
        """What rose and what fell through a standing entry, in words."""
        before, after = self._chances(sequence - 1), self._chances(sequence)
        if after.trouble:
            return [after.trouble]
        lines = biggest_moves(before.now, after.now, after.names, count=4)
        if after.posterior is not None and not after.posterior.exact:
            lines.append(_approximate(after))
        return lines

    def _chances(self, sequence: int) -> Reckoning:
        state = standing_until(self._state, sequence)
        found, car = evidence(state, self._knowledge), car_of(state, self._knowledge)
        if self._last is None or self._last[:2] != (found, car):
            self._last = (found, car, reckon(state, self._knowledge))
        return self._last[2]


def _effect(reckoner: Reckoner, envelope: Envelope, gone: Envelope | None) -> list[tuple[str, str]]:
    if gone is not None:
        reason = gone.event.reason if isinstance(gone.event, Withdrawn) else ""
        why = f": {reason}" if reason else ""
        return [("Withdrawn", f"by entry {gone.sequence}{why}. It counts for nothing.")]
    moves = reckoner.moves(envelope.sequence)
    if moves == biggest_moves({}, {}, {}) and not isinstance(envelope.event, ReadingTaken):
        # The scorer speaks of readings; a repair or a look for the complaint is none.
        moves = ["This changed little."]
    return [("What it did", "; ".join(moves))]


def _reading_items(
    envelope: Envelope, event: ReadingTaken, test: Test | None, knowledge: Knowledge
) -> list[tuple[str, str]]:
    typed, shown = _typed(event), shown_text(event, test)
    # What was taken as it was typed is said once.
    items = [("When", _stamp(envelope)), ("Typed", typed if typed != shown else "")]
    if event.choice is None:
        true = true_text(event, test)
        items.append(("Shown", shown))
        items.append(("True, after correction of the instrument", true))
        figure = figure_text(event)
        items.append(("Figure", figure if figure and figure != shown else ""))
    else:
        items.append(("Seen", event.choice))
    items.append(("Limits", _limits(event, test)))
    for used in event.specs_used:
        value = _in_unit(used.value, used.unit, event.unit)
        # Where the car's own file has its figures from is told once, with the car.
        origin = _origin(used.origin, "" if used.origin == "vehicle" else used.source)
        items.append(("Stands on", f"{name_of(used.spec, knowledge)} {value}, {origin}"))
    sure = ", ".join(
        f"{band} {percent(chance)}"
        for band, chance in sorted(event.bands.items(), key=lambda pair: -pair[1])
        if chance >= LEAST_LIKELY_SHOWN
    )
    items.append(("How sure", sure + (" (near a limit)" if event.near else "")))
    instruments = ", ".join(name_of(used, knowledge) for used in event.instruments.values())
    items.append(("Taken with", instruments))
    items.append(("Complaint showing", _SHOWING[event.showing]))
    items.append(("Chosen by", _TAKEN_AS[event.taken_as]))
    if event.repeat_of:
        numbers = ", ".join(map(str, event.repeat_of))
        items.append(("Together with", f"entry {numbers}: repeats count as one finding"))
    return items


def _typed(event: ReadingTaken) -> str:
    """What was typed, its figures under the names that the trade gives them."""
    text = event.typed
    for part in event.values:
        text = re.sub(rf"(?<!\w){re.escape(part)}=", f"{part_words(part)} ", text)
    return text


def _limits(event: ReadingTaken, test: Test | None) -> str:
    """The bands of a number with the limits between them: `low below 36 psi, ...`."""
    if not event.limits or test is None:
        return ""
    limits = [with_unit(plain(limit, DIGITS), event.unit) for limit in event.limits]
    if len(event.limits) != len(test.bands) - 1:
        return ", ".join(limits)
    parts = [f"{test.bands[0]} below {limits[0]}"]
    for at, band in enumerate(test.bands[1:-1]):
        parts.append(f"{band} from {limits[at]} to {limits[at + 1]}")
    parts.append(f"{test.bands[-1]} above {limits[-1]}")
    return ", ".join(parts)


def _not_done(state: State, knowledge: Knowledge) -> list[Block]:
    if not state.cannot_do:
        return []
    rows = tuple(
        (name_of(test, knowledge), fact.event.reason) for test, fact in state.cannot_do.items()
    )
    return [Heading(2, "What could not be done"), Table(("Test", "Why not"), rows)]


def _causes(state: State, knowledge: Knowledge, reckoning: Reckoning) -> list[Block]:
    blocks: list[Block] = [Heading(2, "The causes and their chances")]
    posterior = reckoning.posterior
    if posterior is None:
        blocks.append(Paragraph(reckoning.trouble, True))
        return blocks
    first = before_readings(reckoning)
    at_start, now = reckoning.at_start, reckoning.now
    repaired = {fact.event.cause for fact in state.repairs}
    ordered = sorted(now, key=lambda cause: -max(now[cause], at_start[cause]))
    shown = [
        cause
        for cause in ordered
        if cause in repaired or max(now[cause], at_start[cause]) >= LEAST_LIKELY_SHOWN
    ][:MOST_CAUSES]
    rows = tuple(
        (
            reckoning.names[cause] + (" (repaired)" if cause in repaired else ""),
            percent(first.get(cause, 0.0)),
            percent(at_start[cause]),
            percent(now[cause]),
        )
        for cause in shown
    )
    head = ("Cause", "Before any reading", "Present when it came in", "Present now")
    blocks.append(Table(head, rows))
    if len(now) > len(shown):
        blocks.append(Paragraph(f"{len(now) - len(shown)} further causes are less likely."))
    if not posterior.exact:
        blocks.append(Paragraph(f"{_approximate(reckoning)}.", True))
    fit = conflict(reckoning.network, reckoning.evidence)
    if fit.serious:
        blocks.append(Paragraph(fit.message, True))
    return blocks


def _approximate(reckoning: Reckoning) -> str:
    omitted = reckoning.posterior.omitted if reckoning.posterior else 0.0
    return (
        "These chances are approximate: so many readings are entangled that only sets of few "
        f"causes were counted, which leaves out about {percent(omitted)} of the evidence"
    )


def _done(event: Repaired, knowledge: Knowledge) -> str:
    """What somebody wrote that was done, or that it was done as the card says."""
    cause = knowledge.causes.get(event.cause)
    if event.done or cause is None:
        return event.done
    return f"As the card says: {' '.join(cause.repair.do.split())}"


def _repairs(state: State, knowledge: Knowledge) -> list[Block]:
    if not state.repairs:
        return []
    rows = []
    for fact in state.repairs:
        minutes = "" if fact.event.minutes is None else plain(fact.event.minutes)
        done = _done(fact.event, knowledge)
        rows.append((str(fact.sequence), name_of(fact.event.cause, knowledge), done, minutes))
    return [
        Heading(2, "Repairs"),
        Table(("Entry", "Cause", "What was done", "Minutes"), tuple(rows)),
    ]


def _proof(state: State, knowledge: Knowledge) -> list[Block]:
    found = before_beside_after(state, knowledge)
    if not found:
        return []
    repairs = state.stage
    rows = tuple(
        (
            row.name,
            _before(row, repairs, knowledge),
            _after(row, repairs, knowledge),
            row.verdict if row.before or row.after else "not read",
        )
        for row in found
    )
    head = ("Test", "Before", "After", "Came out")
    return [Heading(2, "Before and after"), Table(head, rows)]


def _before(row: ProofRow, repairs: int, knowledge: Knowledge) -> str:
    """What was read before the repairs, or when it first was."""
    if row.before is None:
        return "not read"
    return _found(row, row.before, taken_when(row.before, repairs, before=True), knowledge)


def _after(row: ProofRow, repairs: int, knowledge: Knowledge) -> str:
    """What was read after the repairs, or that it was not, and what was read between them."""
    if row.after is not None:
        return _found(row, row.after, taken_when(row.after, repairs), knowledge)
    again = "not read again" if row.kind == "test" else "not looked for again"
    if row.between is None:
        return again if row.before else "not read"
    return f"{again}, {_found(row, row.between, taken_when(row.between, repairs), knowledge)}"


def _found(row: ProofRow, side: Side, when: str, knowledge: Knowledge) -> str:
    """What was found on one side of a row, with the time where its column does not give it."""
    found = side.band
    if side.group is not None and side.group.last.event.choice is None:
        event = side.group.last.event
        text = figure_text(event) or shown_text(event, knowledge.tests.get(row.id))
        found = f"{text}: {side.band}"
    return f"{found} {when}".rstrip()


def _remaining(state: State, knowledge: Knowledge) -> list[Block]:
    left = remaining(state, knowledge)
    blocks: list[Block] = [Heading(2, "What remains to be done")]
    if not left:
        return [*blocks, Paragraph("Nothing that the session knows of.")]
    return [*blocks, Facts(tuple(("", sentence) for sentence in left))]


def _cautions(state: State, knowledge: Knowledge) -> list[Block]:
    blocks: list[Block] = [Heading(2, "Cautions")]
    still_open = unanswered(state, knowledge)
    if still_open:
        blocks.append(Paragraph("Still open: nobody acknowledged these.", True))
        items = [(name_of(each.id, knowledge), _danger(each.caution)) for each in still_open]
        blocks.append(Facts(tuple(items)))
    answers: dict[str, dict[str, list[str]]] = {}
    for fact in state.acknowledged:
        event = fact.event
        for caution in cautions_of(knowledge, event.carrier, event.id):
            if caution.id == event.caution:
                by = answers.setdefault(caution.id, {})
                by.setdefault(f"{event.answer}, {fact.who}", []).append(
                    name_of(event.id, knowledge)
                )
    if answers:
        blocks.append(Heading(3, "Answered"))
        items = [
            (
                _danger(knowledge.cautions[caution]),
                f"Answered for: {'; '.join(_where(*given) for given in by.items())}",
            )
            for caution, by in answers.items()
        ]
        blocks.append(Facts(tuple(items)))
    if len(blocks) == 1:
        blocks.append(Paragraph("None was open."))
    return blocks


def _where(answer: str, names: Sequence[str]) -> str:
    """For what a caution was answered, the answer and who gave it said once for all of them."""
    return f"{'; '.join(names)} ({answer})"


def _danger(caution: Caution) -> str:
    stops = "STOPS THE WORK. " if caution.kind == "stop" else ""
    return f"{stops}{caution.danger} {caution.do}"


def _notes(state: State) -> list[Block]:
    if not state.notes:
        return []
    items = tuple((f"{_time(fact.at)}, {fact.who}", fact.event.text) for fact in state.notes)
    return [Heading(2, "Notes"), Facts(items)]


# --- words -----------------------------------------------------------------------------------


def _by_chance(chances: Mapping[str, float]) -> list[tuple[str, float]]:
    return sorted(chances.items(), key=lambda pair: -pair[1])


def _origin(origin: str, source: str) -> str:
    words = _ORIGINS[origin]
    if origin == "generic" and source == SEEN_ON_CAR:
        # The source says where to look, not that anybody has looked.
        return "assumed, to be checked on the car"
    return f"{words} ({source})" if source else words


def _value(value: Value) -> str:
    """A spec's value; a number that was turned into another unit loses its idle digits."""
    return plain(value, DIGITS) if isinstance(value, int | float) else value_text(value)


def _in_unit(value: Value, unit: str, wanted: str) -> str:
    """A spec's value in the unit of the limits that it made, where that measures the same."""
    number = isinstance(value, int | float)
    if number and unit and wanted and unit != wanted and same_kind(unit, wanted):
        return with_unit(plain(convert(float(value), unit, wanted), DIGITS), wanted)  # type: ignore[arg-type]
    return with_unit(_value(value), unit)


def _time(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"


def _stamp(envelope: Envelope) -> str:
    return f"{_time(envelope.at)}, {envelope.who}"
