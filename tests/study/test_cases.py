"""Which sessions teach something: every reason to leave one out, and what the times tell."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from faulttree.session.events import (
    CautionAcknowledged,
    Closed,
    ComplaintChecked,
    ComplaintTaken,
    Event,
    Noted,
    Opened,
    ReadingTaken,
    Repaired,
    RouteLeft,
    SpecUsed,
    VehicleDescribed,
    Withdrawn,
)
from faulttree.session.journal import read
from faulttree.study.cases import STOOD, gaps_of, gather
from faulttree.tree.model import Knowledge, Part, Reading, Spec

from .shop import write_events
from .small import small_knowledge
from .test_tally import write_log

START = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)


def shelf() -> Knowledge:
    """The small shelf, in which worn rings occur in petrol engines only and are road-tested."""
    small = small_knowledge()
    rings = replace(small.causes["rings"], fits={"fuel": ("petrol",)})
    leak = replace(small.causes["leak"], prove_with=("smoke",))
    rough = replace(small.trees["rough"], road_test=("prime",))
    part = Part("value", "bar", accuracy=0.1)
    prime = replace(small.tests["prime"], reading=Reading((part,), "bar"), limits=(2.5, 3.5))
    return replace(
        small,
        causes={**small.causes, "rings": rings, "leak": leak},
        trees={**small.trees, "rough": rough},
        tests={**small.tests, "prime": prime},
        specs={"fuel": Spec("fuel", "Fuel", choices=("petrol", "gas"))},
    )


SHELF = shelf()
OPENED = Opened("1.0.0", ("rough",), "f" * 64, "Blue estate")
TAKEN = ComplaintTaken("rough", "it shakes")
SEEN = ReadingTaken("smoke", choice="seen", bands={"seen": 0.95, "none": 0.05})
LOW = ReadingTaken("prime", bands={"low": 1.0})
MENDED = Repaired("leak", "gasket renewed", 30)
GONE = ComplaintChecked("rough", "gone", "same road")
CURED = Closed("cured", ("leak",))


def gathered(tmp_path: Path, *events: Event) -> tuple[list[str], list[str]]:
    """What one log with these events after its opening is left out for, quietly or by name."""
    write_log(tmp_path / "a.jsonl", [OPENED, *events])
    found = gather(SHELF, tmp_path)
    assert len(found.cases) + len(found.skipped) + len(found.contradictions) == 1
    return list(found.skipped), [one.why for one in found.contradictions]


def test_a_cured_session_is_a_case(tmp_path: Path) -> None:
    """Its complaints, causes and the readings before the repair are taken; later ones are not."""
    again = ReadingTaken("smoke", choice="none", bands={"seen": 0.05, "none": 0.95})
    squeeze = ReadingTaken("squeeze", bands={"low": 1.0})
    write_log(tmp_path / "a.jsonl", [OPENED, TAKEN, SEEN, MENDED, again, squeeze, GONE, CURED])
    (case,) = gather(SHELF, tmp_path).cases
    assert (case.complaints, case.causes) == ({"rough"}, {"leak"})
    assert case.fitting == {"pump", "leak", "rings"}
    assert case.readings == {"smoke": {"seen": 0.95, "none": 0.05}}


def test_the_digest_of_other_trees_is_no_contradiction(tmp_path: Path) -> None:
    """A session opened on trees that nobody has any more counts with what this shelf knows."""
    unknown = ReadingTaken("a test of old", bands={"low": 1.0})
    renamed = ReadingTaken("squeeze", bands={"weak": 1.0})
    # It asked for other figures then, and its limits stood on a spec that is no more.
    used = (SpecUsed("pressure_of_old", 3.0, "bar", "typed"),)
    otherwise = ReadingTaken("prime", values={"rail": (2.0,)}, bands={"low": 1.0}, specs_used=used)
    events = [OPENED, TAKEN, SEEN, unknown, renamed, otherwise, MENDED, GONE, CURED]
    write_log(tmp_path / "a.jsonl", events)
    (case,) = gather(SHELF, tmp_path).cases
    assert case.readings == {"smoke": SEEN.bands, "prime": {"low": 1.0}}


LEFT_OUT: list[tuple[str, list[Event]]] = [
    ("still open", [TAKEN, SEEN]),
    ("not cured", [TAKEN, MENDED, Closed("handed on", ("leak",))]),
    ("no listed cause confirmed", [TAKEN, MENDED, GONE, Closed("cured", ("not-listed",))]),
    (
        "a cause that is not listed was confirmed too",
        [TAKEN, MENDED, GONE, Closed("cured", ("leak", "not-listed"))],
    ),
    ("no complaint taken down", [MENDED, CURED]),
    (
        "a complaint that is not on this shelf",
        [TAKEN, ComplaintTaken("whistles"), MENDED, GONE, CURED],
    ),
]


@pytest.mark.parametrize(("why", "events"), LEFT_OUT, ids=[why for why, _ in LEFT_OUT])
def test_what_teaches_nothing_is_left_out(tmp_path: Path, why: str, events: list[Event]) -> None:
    """A session that says nothing of the numbers is counted with the reason."""
    assert gathered(tmp_path, *events) == ([why], [])


GAS = VehicleDescribed(None, "Blue estate", {"fuel": "gas"})
AGAINST: list[tuple[str, list[Event]]] = [
    (
        "`rings` was confirmed, but this car cannot have it",
        [TAKEN, GAS, Repaired("rings"), GONE, Closed("cured", ("rings",))],
    ),
    ("closed as cured, but nothing was repaired", [TAKEN, GONE, CURED]),
    (
        "`pump` was confirmed, but not repaired; yet the car is cured",
        [TAKEN, MENDED, GONE, Closed("cured", ("leak", "pump"))],
    ),
    (
        "closed as cured, but `rough` was not looked for after a repair",
        [TAKEN, MENDED, CURED],
    ),
    (
        "closed as cured, but `rough` was there when it was last looked for",
        [TAKEN, MENDED, ComplaintChecked("rough", "present"), CURED],
    ),
    (
        "closed as cured, but the proof reading `smoke` was still seen",
        [TAKEN, SEEN, MENDED, SEEN, GONE, CURED],
    ),
    (
        "closed as cured, but the proof reading `prime` was still low",
        [TAKEN, LOW, MENDED, LOW, GONE, CURED],
    ),
    (
        "`leak` was confirmed, but by the trees it cannot bring on `weak`; if it can, say so in "
        "brings_on",
        [
            ComplaintTaken("weak"),
            MENDED,
            Repaired("pump"),
            ComplaintChecked("weak", "gone"),
            Closed("cured", ("leak", "pump")),
        ],
    ),
    (
        "`weak` was cured, but by the trees no confirmed cause can bring it on; if one can, say so "
        "in brings_on",
        [TAKEN, ComplaintTaken("weak"), MENDED, GONE, ComplaintChecked("weak", "gone"), CURED],
    ),
]


@pytest.mark.parametrize(("why", "events"), AGAINST, ids=[why for why, _ in AGAINST])
def test_what_speaks_against_itself_is_named(tmp_path: Path, why: str, events: list[Event]) -> None:
    """A session that contradicts itself or the trees is left out by name, with how it does."""
    assert gathered(tmp_path, *events) == ([], [why])


def test_a_proof_reading_that_came_right_is_no_contradiction(tmp_path: Path) -> None:
    """What counts is the last proof reading: still out after the first repair, right at the end."""
    right = ReadingTaken("smoke", choice="none", bands={"seen": 0.05, "none": 0.95})
    still = ComplaintChecked("rough", "present")
    events = [TAKEN, SEEN, Repaired("pump"), SEEN, still, MENDED, right, GONE]
    assert gathered(tmp_path, *events, CURED) == ([], [])


def test_a_proof_reading_near_a_limit_is_no_contradiction(tmp_path: Path) -> None:
    """A cure is doubted where the proof is surely out of its band, not where it may be."""
    near = ReadingTaken("smoke", choice="seen", bands={"seen": 0.94, "none": 0.06})
    assert gathered(tmp_path, TAKEN, SEEN, MENDED, near, GONE, CURED) == ([], [])
    out = replace(near, bands={"seen": 0.96, "none": 0.04})
    assert gathered(tmp_path, TAKEN, SEEN, MENDED, out, GONE, CURED)[1] != []


def test_what_was_read_while_the_complaint_was_quiet_teaches_nothing(tmp_path: Path) -> None:
    """A reading counts with the complaint showing, or where nobody said; not while it was quiet."""
    events = [TAKEN, replace(SEEN, showing="no"), replace(LOW, showing="unknown"), MENDED, GONE]
    write_log(tmp_path / "a.jsonl", [OPENED, *events, CURED])
    (case,) = gather(SHELF, tmp_path).cases
    assert set(case.readings) == {"prime"}


def test_copies_and_damaged_logs_do_not_count(tmp_path: Path) -> None:
    """The same session in two files counts once; a changed line spoils a log, a torn end does not.

    The file of exercises, which lies among the logs, is none.
    """
    whole = [OPENED, TAKEN, SEEN, MENDED, GONE, CURED]
    first = write_log(tmp_path / "a.jsonl", whole)
    (tmp_path / "b.jsonl").write_bytes(first.read_bytes())
    later = START + timedelta(days=1)
    changed = write_log(tmp_path / "c.jsonl", whole, later)
    changed.write_bytes(changed.read_bytes().replace(b"it shakes", b"it hummed"))
    torn = write_log(tmp_path / "d.jsonl", [*whole, Noted("x")], later + timedelta(days=1))
    torn.write_bytes(torn.read_bytes()[:-9])
    (tmp_path / "e.jsonl").write_text("rubbish\n")
    (tmp_path / "exercises.jsonl").write_text("{}\n")
    found = gather(SHELF, tmp_path)
    assert len(found.cases) == 2
    assert found.skipped == {"a copy of another log": 1, "damaged": 1, "could not be read": 1}


def test_no_folder_teaches_nothing(tmp_path: Path) -> None:
    """A folder that is not there holds no sessions."""
    assert gather(SHELF, tmp_path / "none").cases == ()


# --- minutes -----------------------------------------------------------------------------------


def gaps(tmp_path: Path, *events: tuple[float, Event]) -> list[tuple[str, float]]:
    """The minutes that a log of events, each some minutes after the one before, tells."""
    at, timed = START, []
    for minutes, event in [(0.0, OPENED), (5.0, TAKEN), *events]:
        at += timedelta(minutes=minutes)
        timed.append((at, event))
    path = write_events(tmp_path / "a.jsonl", timed)
    return [(test, round(minutes, 6)) for test, minutes in gaps_of(read(path), SHELF)]


def test_a_reading_took_the_time_since_other_work_ended(tmp_path: Path) -> None:
    """Cautions, notes and leaving the route belong to the test that follows them."""
    found = gaps(
        tmp_path,
        (2, CautionAcknowledged("hot", "test", "smoke")),
        (9, SEEN),
        (1, Noted("loud")),
        (1, RouteLeft("rough", "squeeze", "prime")),
        (12, LOW),
    )
    assert found == [("smoke", 11.0), ("prime", 14.0)]


def test_a_reading_entered_late_spoils_the_one_before_too(tmp_path: Path) -> None:
    """Two readings in one go have the time of both between them, and neither counts."""
    squeeze = ReadingTaken("squeeze", bands={"low": 1.0})
    # A tenth of the author's 40 minutes is 4: nobody is done with a compression test in 3.
    assert gaps(tmp_path, (12, SEEN), (3, squeeze), (16, LOW)) == [("prime", 16.0)]
    assert gaps(tmp_path, (12, SEEN), (0.2, LOW), (0.2, squeeze)) == []
    assert gaps(tmp_path, (12, SEEN), (4.5, squeeze)) == [("smoke", 12.0), ("squeeze", 4.5)]
    # Other work between them ends the one before, so only the late one is lost.
    assert gaps(tmp_path, (12, SEEN), (9, GONE), (0.2, LOW)) == [("smoke", 12.0)]


def test_a_car_that_stood_over_night_was_not_tested_all_night(tmp_path: Path) -> None:
    """A gap of more than four hours tells nothing, nor does a clock that was set back."""
    found = gaps(tmp_path, (STOOD + 1, SEEN), (15, LOW), (-90, ReadingTaken("squeeze", bands={})))
    assert found == [("prime", 15.0)]


def test_a_repeat_and_a_withdrawn_reading_tell_no_time(tmp_path: Path) -> None:
    """A repeat is quicker, for all is set up; a mistyped reading counts as entered at last."""
    again = replace(LOW, repeat_of=(3,))
    assert gaps(tmp_path, (15, LOW), (4, again)) == [("prime", 15.0)]
    assert gaps(tmp_path, (15, LOW), (1, Withdrawn(3)), (0.1, LOW)) == [("prime", 16.1)]
