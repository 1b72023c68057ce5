"""Writes what was learnt as `learned.yaml` beside the trees, where the loader lays it over them.

The authored files are only read. The overlay holds what is offered and differs from the authored
figure, to three digits; it is held to the loader's own checks before it takes its place: a chance
is kept above 0 and below 1, and the bands of a test leave room for the expected one, together with
the authored figures that stay. What had to be changed or kept out for that is said. The file is
written beside its place and then renamed, so that there is the old one or the new one, never half.
"""

import contextlib
import json
import os
import re
import tempfile
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from faulttree import __version__
from faulttree.study.learn import Learnt, Lesson, name_of
from faulttree.tree.learned import problems_of
from faulttree.tree.model import Knowledge
from faulttree.tree.resolve import MOST_FOR_ALL_BANDS
from faulttree.tree.shelf import LEARNED

FIRST_LINE = "# What closed sessions taught, laid over the authored figures by `faulttree learn`."
LEAST, MOST = 1e-4, 0.98
"""No chance is written below or above these: nothing is certain, neither that it never happens."""


class CannotWrite(Exception):
    """The overlay was not written; the message says why, and the old one is as it was."""


@dataclass(slots=True)
class Overlay:
    """The figures to be written, by the sections of the file, and what was kept out or changed."""

    causes: dict[str, float] = field(default_factory=dict)
    minutes: dict[str, float] = field(default_factory=dict)
    by_chance: dict[str, dict[str, float]] = field(default_factory=dict)
    points_to: dict[str, dict[str, dict[str, float]]] = field(default_factory=dict)
    brings_on: dict[str, dict[str, float]] = field(default_factory=dict)
    kept_out: dict[str, str] = field(default_factory=dict)

    @property
    def figures(self) -> int:
        """How many figures there are."""
        bands = [*self.by_chance.values(), *self.brings_on.values()]
        bands += [one for causes in self.points_to.values() for one in causes.values()]
        return len(self.causes) + len(self.minutes) + sum(map(len, bands))


def overlay_of(lesson: Lesson, knowledge: Knowledge) -> Overlay:
    """What a lesson has to say that differs from the author, in a form that the loader takes."""
    made = Overlay()
    bands: defaultdict[tuple[str, str], list[Learnt]] = defaultdict(list)
    brings_on: defaultdict[str, dict[str, float]] = defaultdict(dict)
    for number in lesson.numbers:
        if not number.offered:
            continue
        if number.kind in ("points_to", "by_chance"):
            bands[number.where, number.cause].append(number)
            continue
        value = _held(number, made)
        if value == rounded(number.old):
            continue
        if number.kind == "how_common":
            made.causes[number.cause] = value
        else:
            brings_on[number.where][number.cause] = value
    made.brings_on = dict(brings_on)
    for (test, cause), numbers in bands.items():
        authored = (
            knowledge.tests[test].points_to[cause] if cause else knowledge.tests[test].by_chance
        )
        chances = _with_room(authored, numbers, made)
        if chances and cause:
            made.points_to.setdefault(test, {})[cause] = chances
        elif chances:
            made.by_chance[test] = chances
    for one in lesson.minutes:
        minutes = whole_minutes(one.new)
        if one.offered and minutes != one.old:
            made.minutes[one.test] = minutes
    return made


def _held(number: Learnt, made: Overlay) -> float:
    """The number to three digits, held away from never and always."""
    value = min(MOST, max(LEAST, rounded(number.new)))
    if value != rounded(number.new):
        made.kept_out[_full_name(number)] = f"{number.new:.3g} is written as {value:g}"
    return value


def _with_room(
    authored: Mapping[str, float], numbers: list[Learnt], made: Overlay
) -> dict[str, float]:
    """The learnt chances of some bands, with room for the expected one beside those that stay."""
    values = {
        number.band: number.old if value == rounded(number.old) else value
        for number in numbers
        for value in [_held(number, made)]
    }
    stay = sum(chance for band, chance in authored.items() if band not in values)
    room, total = MOST_FOR_ALL_BANDS - stay, sum(values.values())
    if total > room:
        if room < 2.0 * LEAST * len(values):
            for number in numbers:
                made.kept_out[_full_name(number)] = "the authored bands beside it leave no room"
            return {}
        # Each has the least there is, and its share of the rest: rounded down, or rounding alone
        # could take the room again.
        least = LEAST * len(values)
        share = (room - least) / (total - least)
        values = {
            band: round(LEAST + int(1e4 * max(0.0, value - LEAST) * share) / 1e4, 4)
            for band, value in values.items()
        }
        for number in numbers:
            made.kept_out[_full_name(number)] = (
                f"{number.new:.3g} is written as {values[number.band]:g}: all bands but the "
                f"expected one come to at most {MOST_FOR_ALL_BANDS:g}"
            )
    return {
        number.band: values[number.band] for number in numbers if values[number.band] != number.old
    }


def _full_name(number: Learnt) -> str:
    return f"{number.kind}: {name_of(number)}"


def rounded(chance: float) -> float:
    """A chance to three digits."""
    return float(f"{chance:.3g}")


def whole_minutes(minutes: float) -> float:
    """Minutes as an author would write them: halves below ten, whole ones above."""
    return max(0.5, round(2.0 * minutes) / 2.0) if minutes < 10.0 else float(round(minutes))


# --- the file ----------------------------------------------------------------------------------


def to_yaml(overlay: Overlay, lesson: Lesson, now: datetime) -> str:
    """The overlay as the text of its file, with what it is and how to go back at its head."""
    day = now.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
    about = (
        f"from {lesson.sessions} closed sessions, {day}, the author's numbers counting as "
        f"{lesson.strength:g} cars"
    )
    lines = [
        FIRST_LINE,
        f"# Written {day} by faulttree {__version__} from {lesson.sessions} closed sessions with",
        f"# confirmed causes. Strength {lesson.strength:g}: each authored chance counts as if seen",
        f"# on {lesson.strength:g} cars. Minutes are medians of what was measured.",
        "# To go back: delete this file. The authored files are as they were, and every figure",
        "# that is not here is the author's. `faulttree learn` writes this file anew from them;",
        "# what was changed in it by hand is then lost.",
        "format: 1",
        f"about: {_text(about)}",
    ]
    if overlay.causes:
        lines.append("causes:")
        lines += [f"  {c}: {{how_common: {v:g}}}" for c, v in sorted(overlay.causes.items())]
    tests = sorted({*overlay.minutes, *overlay.by_chance, *overlay.points_to})
    if tests:
        lines.append("tests:")
    for test in tests:
        lines.append(f"  {test}:")
        if test in overlay.minutes:
            lines.append(f"    minutes: {overlay.minutes[test]:g}")
        if test in overlay.by_chance:
            lines.append(f"    by_chance: {_flow(overlay.by_chance[test])}")
        causes = overlay.points_to.get(test, {})
        if causes:
            lines.append("    points_to:")
            lines += [f"      {c}: {_flow(bands)}" for c, bands in sorted(causes.items())]
    if overlay.brings_on:
        lines.append("trees:")
    for tree, chances in sorted(overlay.brings_on.items()):
        lines += [f"  {tree}:", "    brings_on:"]
        lines += [f"      {cause}: {chance:g}" for cause, chance in sorted(chances.items())]
    return "\n".join(lines) + "\n"


def _flow(chances: Mapping[str, float]) -> str:
    return "{" + ", ".join(f"{_text(band)}: {chance:g}" for band, chance in chances.items()) + "}"


def _text(text: str) -> str:
    """A text as YAML: bare where that cannot be taken for anything else, else in quotes."""
    bare = re.fullmatch(r"[a-z]+( [a-z]+)*", text)
    if bare and text not in ("null", "true", "false", "yes", "no", "on", "off", "y", "n"):
        return text
    return json.dumps(text, ensure_ascii=False)


def write(folder: Path, overlay: Overlay, lesson: Lesson, now: datetime | None = None) -> Path:
    """Write the overlay into a folder of trees, in place of one that was written before.

    Raises CannotWrite when the file there was not written by this program, when the loader would
    not take the new one, or when the disk does not let it be written.
    """
    path = folder / LEARNED
    text = to_yaml(overlay, lesson, now or datetime.now(UTC))
    try:
        old = path.read_text(encoding="utf-8") if path.exists() else FIRST_LINE
        if not old.startswith(FIRST_LINE):
            raise CannotWrite(
                f"{path} was not written by `faulttree learn`, so it is not written over. Move it "
                "away first, or look with --dry-run."
            )
        _replace(folder, path, text)
    except (OSError, UnicodeDecodeError) as trouble:
        why = getattr(trouble, "strerror", None) or "it is not UTF-8 text"
        raise CannotWrite(f"{path} cannot be written: {why}.") from None
    return path


def _replace(folder: Path, path: Path, text: str) -> None:
    """Put a text in the place of a file in one go, if the loader takes it."""
    # Not called .yaml, so that whoever loads the trees meanwhile does not take it for one.
    handle, name = tempfile.mkstemp(prefix=f".{LEARNED}.", dir=folder)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        problems = problems_of(folder, Path(name))
        if problems:
            told = "\n".join(f"  {problem}" for problem in problems)
            raise CannotWrite(f"What was learnt does not pass the loader:\n{told}")
        os.chmod(name, 0o644 if not path.exists() else path.stat().st_mode & 0o777)
        os.replace(name, path)
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(name)
