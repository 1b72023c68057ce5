"""Before beside after over several repairs: each side is what its column says, or says when."""

from faulttree.scorer.evidence import Entry
from faulttree.session.events import ComplaintChecked, Repaired
from faulttree.session.moves import TakeReading


def _look(seen):
    return TakeReading("idle-look", seen, Entry(choice=seen))


def _vacuum(figure):
    return TakeReading("manifold-vacuum", str(figure), Entry({"value": (figure,)}))


async def test_what_was_read_between_two_repairs_is_not_after_the_last(drive, on_walk, work, size):
    """A road test read between two repairs is to do, and its reading is told with its time."""
    work.do(
        *[TakeReading("tip-in", "stumbles", Entry(choice="stumbles")), _vacuum(12.0)],
        Repaired("air-leak"),
        *[TakeReading("tip-in", "clean", Entry(choice="clean")), _vacuum(18.0)],
        ComplaintChecked("idle", "present"),
        Repaired("not-listed", "Throttle body renewed"),
    )
    async with drive(on_walk(work), size) as seat:
        shown = await seat.press("p")
        (row,) = [row for row in seat.frame.splitlines() if "✗ stumbles" in row]
        assert "clean" not in row
        assert row.rstrip(" │▔▁▂▃▄▅▆▇█▏▎▍▌▋▊▉").endswith("· to do")
        name = work.knowledge.tests["tip-in"].name
        await seat.press("pagedown", "pagedown")
        shown += seat.words
        assert f"{name}: clean between repairs 1 and 2, not looked at since." in shown
        assert "Manifold vacuum at idle: in limits between repairs 1 and 2." in shown
        assert "Idle wanders: present between repairs 1 and 2, not looked at since." in shown


async def test_one_repair_needs_no_times(drive, on_walk, work):
    """With one repair the columns say all."""
    work.do(_look("hunting"), Repaired("air-leak"), _look("steady"))
    async with drive(on_walk(work), (120, 40)) as seat:
        shown = await seat.press("p")
        assert "✓ better" in shown
        assert "between repairs" not in shown
