"""Taking the last entry back, once it was shown and confirmed; for the walk and the proof."""

from __future__ import annotations

from collections.abc import Callable

from faulttree.screen import text
from faulttree.screen.boxes import AskBox
from faulttree.screen.lists import Row
from faulttree.screen.page import PageLike
from faulttree.screen.work import Work
from faulttree.session.events import Event
from faulttree.session.journal import JournalError
from faulttree.session.moves import NotAllowed, Undo, to_undo
from faulttree.session.words import say


def ask_undo(page: PageLike, work: Work, undone: Callable[[Event], None]) -> None:
    """Show what would be taken back, and do so where that is meant; `undone` gets the event."""
    found = to_undo(work.state)
    if not found:
        return
    envelope = found[0]
    said = [text.line((say(envelope.event, work.knowledge), "bold"))]
    said += [text.line(say(other.event, work.knowledge)) for other in found[1:]]
    said.append(
        text.line(
            (
                f"Entered {envelope.at.astimezone():%d %b %H:%M} by {envelope.who}. The log "
                "keeps it as taken back; the chances go back to what they were.",
                "$text-muted",
            )
        )
    )

    def answered(answer: str | None) -> None:
        if answer != "undo":
            return
        try:
            work.do(Undo())
        except (NotAllowed, JournalError) as trouble:
            page.say(trouble, severity="warning", title="Not recorded")
            return
        undone(envelope.event)

    page.host.push_screen(
        AskBox(
            "Take this back?",
            text.stack(said),
            [
                Row("undo", text.line(("Take it back", "bold"))),
                Row("keep", text.line("Keep it")),
            ],
        ),
        answered,
    )
