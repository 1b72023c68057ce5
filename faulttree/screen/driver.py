"""What the driver says, asked or corrected while the walk is under way."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from faulttree.screen import text
from faulttree.screen.boxes import AskBox, WriteBox
from faulttree.screen.lists import Row
from faulttree.session.events import ComplaintTaken

if TYPE_CHECKING:
    from faulttree.screen.walk import WalkPage

BOX, ANSWER = 68, 30
"""How many cells a row of the box has, and how many of them an answer may take."""

SAID, OFTEN = "said!", "often!"


def _answer(taken: ComplaintTaken, ask: str) -> str:
    return text.clip(taken.answers.get(ask) or "-", ANSWER)


def ask_driver(page: WalkPage, tree: str | None = None) -> None:
    """Show what the driver says of a complaint, and let one line of it be changed."""
    work = page.work
    trees = [tree] if tree else [t for t in work.state.trees if work.has_tree(t)]
    if len(trees) > 1:
        rows = [Row(t, text.line(work.knowledge.trees[t].complaint)) for t in trees]

        def chosen(answer: str | None) -> None:
            if answer:
                ask_driver(page, answer)

        page.app.push_screen(AskBox("Which complaint?", text.line(""), rows), chosen)
        return
    if not trees:
        return
    known = work.knowledge.trees[trees[0]]
    taken = work.state.complaint(known.id) or ComplaintTaken(known.id)
    rows = [
        Row(SAID, text.line(("Driver says: ", "bold"), taken.said or "nothing written")),
        Row(OFTEN, text.line(("How often: ", "bold"), taken.how_often or "not said")),
        *(
            # The answer is always in sight; a long question gives way.
            Row(f"?{at}", text.line(text.ends(ask, _answer(taken, ask), BOX)))
            for at, ask in enumerate(known.ask)
        ),
    ]

    def picked(line: str | None) -> None:
        if line is None:
            return
        if line == SAID:
            title, value = "What does the driver say?", taken.said
        elif line == OFTEN:
            title, value = "How often, and when?", taken.how_often
        else:
            title = known.ask[int(line[1:])]
            value = taken.answers.get(title, "")

        def written(answer: str | None) -> None:
            if answer is not None:
                if line == SAID:
                    changed = replace(taken, said=answer)
                elif line == OFTEN:
                    changed = replace(taken, how_often=answer)
                else:
                    kept = {ask: said for ask, said in taken.answers.items() if ask != title}
                    if answer:
                        kept[title] = answer
                    changed = replace(taken, answers=kept)
                if changed != taken and page.do(changed) is not None:
                    # What the last reading changed is not put down to the driver's words.
                    page.before = page.work.before_last()
                    page.renew()
            ask_driver(page, known.id)

        page.app.push_screen(WriteBox(title, None, value, blank=True), written)

    box = AskBox(f"What the driver says: {known.complaint}", text.line(""), rows)
    page.app.push_screen(box, picked)
