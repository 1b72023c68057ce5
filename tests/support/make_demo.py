"""Writes the two demo sessions of `sessions/` anew: `python tests/support/make_demo.py FOLDER`.

The car, its faults and every reading are invented. The readings go through the same parser, moves
and journal as those of a technician, so a demo session that the program would not allow cannot be
written.
"""

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from faulttree import __version__
from faulttree.session.entry import parse_entry
from faulttree.session.events import (
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    InstrumentChecked,
    Noted,
    Opened,
    Repaired,
    Showing,
    TakenAs,
    VehicleDescribed,
)
from faulttree.session.journal import Journal, create
from faulttree.session.moves import Command, TakeReading, decide
from faulttree.session.standing import car_of, open_cautions
from faulttree.tree.load import load
from faulttree.tree.model import Knowledge

WHO = "demo"
TREES = ("idle-unsteady", "stumble-on-opening")


class Bench:
    """A session under way, with a clock that moves by the minutes each step takes."""

    def __init__(self, folder: Path, knowledge: Knowledge, title: str, at: datetime) -> None:
        self.knowledge = knowledge
        self.at = at
        opened = Opened(__version__, TREES, knowledge.digest, title)
        self.journal: Journal = create(folder, opened, knowledge, WHO, at)

    def do(self, command: Command, minutes: float = 1) -> None:
        """One command, some minutes later."""
        self.at += timedelta(minutes=minutes)
        events = decide(self.journal.state, command, self.knowledge)
        self.journal.append(events, WHO, self.at)

    def read(
        self, test: str, typed: str, taken: TakenAs = "advice", showing: Showing = "yes"
    ) -> None:
        """Answer the cautions of a test and enter its reading."""
        for caution in open_cautions(self.journal.state, self.knowledge, "test", test):
            self.do(CautionAcknowledged(caution.id, "test", test))
        card = self.knowledge.tests[test]
        entry = parse_entry(card, typed, car_of(self.journal.state, self.knowledge))
        self.do(TakeReading(test, typed, entry, showing, taken), card.minutes)

    def repair(self, cause: str, done: str, minutes: float) -> None:
        """Answer the cautions of a repair and record it."""
        for caution in open_cautions(self.journal.state, self.knowledge, "cause", cause):
            self.do(CautionAcknowledged(caution.id, "cause", cause))
        self.do(Repaired(cause, done, minutes), minutes)


def intake(bench: Bench, car: str, said: dict[str, str], vehicle: str) -> None:
    """Take the complaints and the car down."""
    for tree, words in said.items():
        for caution in open_cautions(bench.journal.state, bench.knowledge, "tree", tree):
            bench.do(CautionAcknowledged(caution.id, "tree", tree))
        ask = bench.knowledge.trees[tree].ask
        answers = {ask[0]: "Both, worse when hot"} if ask else {}
        bench.do(ComplaintTaken(tree, words, answers, "yes", "every drive"))
    bench.do(VehicleDescribed(vehicle, car))


def finished(folder: Path, knowledge: Knowledge) -> None:
    """Two faults at once; the second shows itself only once the first is repaired."""
    at = datetime(2026, 11, 23, 8, 30, tzinfo=UTC)
    bench = Bench(folder, knowledge, "Camper hunts at idle and stumbles", at)
    intake(
        bench,
        "The blue camper",
        {
            "idle-unsteady": "Goes up and down at the lights, sometimes nearly stops.",
            "stumble-on-opening": "Holds its breath when I pull away.",
        },
        "camper-four",
    )
    bench.do(Noted("Driven twelve minutes before any work: hunts at every stop, stumbles 4 of 5."))
    bench.read("idle-watch", "hunting", "route")
    bench.read("tip-in", "hesitates", "route")
    bench.do(InstrumentChecked("dash-rev-counter", 1150, 850, "strobe meter"), 5)
    bench.read("idle-return", "5.5 s", "route")
    bench.read("manifold-vacuum-idle", "13.5 inHg")
    bench.read("air-leak-smoke", "found")
    bench.repair(
        "air-leak-after-throttle", "Brake servo hose split at the manifold end, renewed.", 40
    )
    bench.read("manifold-vacuum-idle", "18.5 inHg", "free", "no")
    bench.read("idle-watch", "steady", "free", "no")
    bench.read("tip-in", "hesitates", "free")
    bench.do(
        ComplaintChecked("idle-unsteady", "gone", "Ten minutes at idle, hot, loads on and off")
    )
    bench.do(ComplaintChecked("stumble-on-opening", "present", "Same road, 4 of 5"), 20)
    bench.do(Noted("Idle cured, the stumble is not. Plugs out for a look: compression first."))
    bench.read("compression-dry", "150, 148, 146, 151 psi", "free", "unknown")
    bench.read("fuel-pressure-prime", "33 psi")
    bench.read("fuel-volume", "0.7 L/min")
    bench.read("fuel-filter-drop", "after=32 psi, before=33 psi")
    bench.repair("fuel-pump-weak", "Pump renewed; 12.4 V at the pump under load.", 75)
    bench.read("fuel-pressure-prime", "40.5 psi", "free", "no")
    bench.read("fuel-volume", "1.4 L/min", "free", "no")
    bench.read("tip-in", "clean", "free", "no")
    bench.do(ComplaintChecked("stumble-on-opening", "gone", "Same road, 0 of 10"), 20)
    bench.do(ComplaintChecked("idle-unsteady", "gone", "Every stop on the same road"))
    bench.do(
        Closed(
            "cured",
            ("air-leak-after-throttle", "fuel-pump-weak"),
            "Fuel filter due at the next service.",
        )
    )
    bench.journal.close()


def under_way(folder: Path, knowledge: Knowledge) -> None:
    """Three readings taken, the next one waiting: a session to go on with."""
    at = datetime(2026, 11, 24, 9, 5, tzinfo=UTC)
    bench = Bench(folder, knowledge, "Camper idles fast after winter", at)
    intake(
        bench,
        "The green camper",
        {
            "idle-unsteady": "Idles like a tractor one day, races the next.",
            "stumble-on-opening": "Hesitates in traffic since it stood all winter.",
        },
        "camper-four",
    )
    bench.read("idle-watch", "high", "route")
    bench.read("idle-return", "4.2 s", "route")
    bench.read("hoses-look-over", "sound", "route")
    bench.journal.close()


def main() -> None:
    """Write both sessions into the folder named on the command line."""
    folder = Path(sys.argv[1])
    knowledge = load(TREES, trees_dir=Path(__file__).parents[2] / "trees")
    finished(folder, knowledge)
    under_way(folder, knowledge)


if __name__ == "__main__":
    main()
