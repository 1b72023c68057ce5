"""The shipped demo sessions are sound, and are worked on in copies."""

from pathlib import Path

import pytest

from faulttree.session.events import Noted
from faulttree.session.journal import bring_in, knowledge_of, list_sessions, open_journal, read
from faulttree.session.standing import evidence
from faulttree.tree.places import SESSIONS, shipped

LOGS = sorted(shipped(SESSIONS).glob("20*.jsonl"))


def test_one_is_finished_and_one_is_open() -> None:
    """The finished one found its second fault only after the first repair."""
    cards = {card.status: card for card in list_sessions(shipped(SESSIONS))}
    assert set(cards) == {"open", "closed"}
    state = read(cards["closed"].path).state
    assert [fact.event.cause for fact in state.repairs] == [
        "air-leak-after-throttle",
        "fuel-pump-weak",
    ]
    between = [fact for fact in state.checks if fact.stage == 1]
    assert {fact.event.found for fact in between} == {"present", "gone"}


@pytest.mark.parametrize("path", LOGS, ids=lambda path: path.stem[:30])
def test_it_can_be_scored_from_what_it_knew(path: Path) -> None:
    """Log and knowledge are whole, and give evidence without the trees of today."""
    record = read(path)
    assert record.damage is None
    assert evidence(record.state, knowledge_of(record)).findings


def test_a_copy_is_worked_on(tmp_path: Path) -> None:
    """Bringing a session in copies log and knowledge once, and leaves the original alone."""
    original = LOGS[-1]
    before = original.read_bytes()
    folder = tmp_path / "new" / "sessions"
    copy = bring_in(original, folder)
    with open_journal(copy, "A. Tester") as journal:
        assert knowledge_of(journal.record).digest == journal.record.digest
        journal.append(Noted("gone on with"), "A. Tester")
    assert bring_in(original, folder) == copy
    assert read(copy).state.notes[-1].event.text == "gone on with"
    assert original.read_bytes() == before
