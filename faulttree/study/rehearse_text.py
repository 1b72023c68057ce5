"""Writes the reports of a rehearsal out: for people in 80 columns without colour, and as JSON.

What is counted, and what counts as a weak spot, is the work of `rehearse`.
"""

import json
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict

from faulttree.study.rehearse import Follow, Report, share_of

WIDTH = 80
BAR = 24
RIGHT, WRONG, NOTHING = "#", "x", "."
HOW: Mapping[Follow, str] = {"advice": "the advice", "route": "the authored route"}


def to_text(*reports: Report) -> str:
    """Reports of the same trees, side by side, as plain text for a terminal or a file.

    At most two: by the advice and by the route. No line is wider than 80 columns, and nothing
    hangs on a colour.
    """
    first = reports[0]
    heads = [HOW[report.follow].split()[-1] for report in reports]
    lines = _wrapped(
        f"Rehearsal of {' and '.join(first.trees)}: {first.runs} sessions by "
        f"{' and by '.join(HOW[report.follow] for report in reports)}, seed {first.seed}",
    )
    if first.as_cause:
        lines.append(f"only cars with {first.as_cause} at work")
    if first.showing < 1.0:
        lines.append(f"the complaint shows at {first.showing:.0%} of the tests that need it")
    lines.append("")
    if len(reports) > 1:
        lines.append(_row("", [f"by {head}" for head in heads]))
    figures: list[tuple[str, Callable[[Report], str]]] = [
        ("cured", lambda r: f"{r.cured} ({share_of(r.cured, r.runs)})"),
        (
            "right cause named first",
            lambda r: f"{r.named_right} ({share_of(r.named_right, r.runs)})",
        ),
        ("nothing named", lambda r: f"{r.unnamed} ({share_of(r.unnamed, r.runs)})"),
        ("tests a car", lambda r: f"{r.tests:.1f}"),
        ("minutes a car, all work", lambda r: f"{r.minutes:.0f}"),
        ("money a car, parts included", lambda r: f"{r.money:.0f}"),
        ("needless repairs a car", lambda r: f"{r.needless:.2f}"),
        ("given up as too tangled", lambda r: f"{r.tangled}"),
    ]
    lines += [_row(name, [show(report) for report in reports]) for name, show in figures]
    for report in reports:
        if report.follow == "advice" and report.charged:
            share = share_of(report.charged, report.points)
            lines += _wrapped(
                f"At {share} of {report.points} points the errors of whoever looks are reckoned "
                "with in the short way (DEVELOPERS.md says how far that is off)."
            )
    lines += _picture(reports, heads)
    for report, head in zip(reports, heads, strict=True):
        lines += _details(report, f", by {head}" if len(reports) > 1 else "")
    lines += [
        "",
        "The cars obey the trees' own numbers: this is what the trees can do if those",
        "are right.",
    ]
    return "\n".join(lines) + "\n"


def _row(name: str, values: Sequence[str]) -> str:
    return f"{name:<29}" + "".join(f"{value:<22}" for value in values).rstrip()


def _wrapped(text: str, start: str = "") -> list[str]:
    """A text in lines of 80 columns; further lines stand under the first word."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=start,
        subsequent_indent=" " * len(start),
        break_on_hyphens=False,
    )


def _picture(reports: Sequence[Report], heads: Sequence[str]) -> list[str]:
    """For every cause a bar of what was named first when it was at work, one for each report."""
    wanted = {line.id: line for report in reports for line in report.causes}
    lines = [
        "",
        "Named first when at work:",
        f"{RIGHT} it, or another that was; {WRONG} what was not at work; {NOTHING} nothing",
        "",
    ]
    for id, first in wanted.items():
        name = _fit(first.name, 32)
        for report, head in zip(reports, heads, strict=True):
            line = next((line for line in report.causes if line.id == id), None)
            if line is None:
                continue
            nothing = dict(line.mistaken_for).get("", 0)
            wrong = sum(count for _, count in line.mistaken_for) - nothing
            right = line.at_work - wrong - nothing
            label = f" {head}" if len(reports) > 1 else ""
            bar = _bar((right, wrong, nothing), line.at_work)
            lines.append(
                f"{name} {line.at_work:5} {bar} {share_of(right, line.at_work):>5}{label}".rstrip()
            )
            name = " " * 32
    return lines


def _bar(parts: Sequence[int], whole: int) -> str:
    """A bar of fixed length; the ends of its parts are rounded, so that it is always full."""
    ends = [round(BAR * sum(parts[: k + 1]) / whole) for k in range(len(parts))]
    signs = (RIGHT, WRONG, NOTHING)
    starts = [0, *ends[:-1]]
    return "".join(s * (end - at) for s, at, end in zip(signs, starts, ends, strict=True))


def _details(report: Report, by: str) -> list[str]:
    """The weak spots and the tables of one report."""
    lines = ["", f"Weak spots{by}"]
    for spot in report.weak_spots or ("none that so many sessions show",):
        lines += _wrapped(spot, "- ")
    lines += [
        "",
        f"{_fit(f'When at work{by}', 32)}{'named':>14}{'before naming':>23}{'minutes':>11}",
        f"{'':32}{'cars':>6}{'first':>8}{'cured':>7}{'tests':>7}{'minutes':>9}{'to a cure':>11}",
        "",
    ]
    for line in report.causes:
        cure = f"{line.cure_minutes:.0f}" if line.cured else "-"
        lines.append(
            f"{_fit(line.name, 32)} {line.at_work:5} {share_of(line.named, line.at_work):>7} "
            f"{share_of(line.cured, line.at_work):>6} {line.tests:6.1f} {line.minutes:8.0f}"
            f"{cure:>11}"
        )
        wrong = [
            f"{report.names.get(id, id) if id else 'nothing named'} ({count})"
            for id, count in line.mistaken_for[:3]
        ]
        if wrong:
            lines += _wrapped(f"taken for: {', '.join(wrong)}", "    ")
    lines += ["", _fit(f"Test{by}", 48) + " minutes    done  moved anything", ""]
    for test in report.tests_done:
        lines.append(
            f"{_fit(test.name, 48)} {test.minutes:7g} {test.done:7} "
            f"{share_of(test.earned, test.done):>15}"
        )
    if report.never_done:
        never = ", ".join(test.id for test in report.never_done)
        lines += ["", *_wrapped(f"Never done{by}: {never}")]
    return lines


def to_json(*reports: Report) -> str:
    """The report as JSON; of several an object, by what was followed."""
    whole = {report.follow: asdict(report) for report in reports}
    return (
        json.dumps(whole if len(reports) > 1 else asdict(reports[0]), indent=1, ensure_ascii=False)
        + "\n"
    )


def _fit(text: str, width: int) -> str:
    """A text cut or filled to a width."""
    return text.ljust(width) if len(text) <= width else text[: width - 1] + "…"
