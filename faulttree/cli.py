"""The commands; the only place that prints or exits.

Every command is a function of its options that returns an exit code. What cannot be done is said in
one message on standard error: 2 when the command line is at fault, 1 when a file or the system is.
Nothing slow is imported before the command that needs it.
"""

import argparse
import os
import sys
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, Protocol, TextIO

from faulttree import __version__

if TYPE_CHECKING:
    from faulttree.scorer.inference import Posterior
    from faulttree.session.chances import Reckoning
    from faulttree.session.journal import Record
    from faulttree.study.learn import Lesson
    from faulttree.study.overlay import Overlay
    from faulttree.study.rehearse import Follow
    from faulttree.trade.sums import Sum
    from faulttree.tree.model import Knowledge

USAGE, CONTENT, INTERRUPTED = 2, 1, 130
SHOWN = 10
"""How many causes and suggestions are printed for people; JSON has them all."""
LISTED = 20
"""How many names at most are listed when one is not known; more would drown the message."""

FOOT = """\
Exit codes: 0 done, 1 something is wrong with a file or the system, 2 the command line is wrong,
130 stopped with Ctrl-C.
Trees come from --trees, ./trees, or the shipped ones; sessions from --sessions or ./sessions.
"""
CHECK_FOOT = """\
Exit codes: 0 no errors (there may be warnings and notes), 1 an error, 2 the command line is wrong.
"""
SCORE_FOOT = """\
Readings and repairs count in the order given. A reading is a figure with or without its unit
(34psi), one for each cylinder ("150,148,95,151 psi"), a choice (hunting), or figures by name
("shown=60 degC, true=85 degC"). A test read twice before a repair is repeated. A reading named
like a complaint says whether that is there: idle-unsteady=gone or idle-unsteady=present.
"""
LEARN_FOOT = """\
The authored files are only read. learned.yaml lies over them until it is deleted; learning anew
always starts from the author's figures, so no session counts twice.
"""


class Wrong(Exception):
    """Something that ends the command: the message, and the exit code."""

    def __init__(self, message: str, code: int) -> None:
        super().__init__(message)
        self.code = code


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns its exit code."""
    if sys.stdout is None:
        _complain("There is nowhere to write to: the standard output is closed.")
        return CONTENT
    # The tables are small: numpy's own threads only take the processors from the screen's.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a sign (an old locale) gets a question mark, not a traceback.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    try:
        options = _parser().parse_args(arguments)
        code: int = options.run(options)
        sys.stdout.flush()
        return code
    except Wrong as wrong:
        _complain(str(wrong))
        return wrong.code
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # The reader has gone, as `| head` does.
        _let_go(sys.stdout)
        return CONTENT
    except OSError as trouble:
        what = f"{trouble.filename} cannot be read or written"
        if trouble.filename is None:
            _let_go(sys.stdout)
            what = "The output cannot be written"
        _complain(f"{what}: {trouble.strerror or trouble}.")
        return CONTENT


def _let_go(stream: TextIO) -> None:
    """Have what is left for a stream go nowhere; Python would try to write it on its way out."""
    # A stream that is no file, as in a test, has nothing to let go of.
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


# --- the command line ------------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """A parser that says what is wrong in one message, without the whole of its usage."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the command line and leave."""
        _complain(f"{message[:1].upper()}{message[1:]}. See `{self.prog} --help`.")
        raise SystemExit(USAGE)


class _InOrder(argparse.Action):
    """Collects readings and repairs in one list, because their order counts."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: Any,
        option_string: str | None = None,
    ) -> None:
        steps = list(getattr(namespace, "steps", None) or [])
        steps.append(((option_string or "").lstrip("-"), values))
        namespace.steps = steps


class _Command(Protocol):
    """Adds a command to the command line: its name, what runs it, and what it does in a line."""

    def __call__(
        self,
        name: str,
        run: Callable[[argparse.Namespace], int],
        what: str,
        *parents: _Parser,
        epilog: str = "",
    ) -> _Parser: ...


def _parser() -> argparse.ArgumentParser:
    # Suppressed, so that an option before the command is not reset by the one after it.
    absent: dict[str, Any] = {"default": argparse.SUPPRESS}
    folders = _Parser(add_help=False)
    for name, what in (("trees", "trees"), ("sessions", "session logs")):
        folders.add_argument(f"--{name}", metavar="FOLDER", **absent, help=f"the folder of {what}")
    screens = _Parser(add_help=False)
    screens.add_argument("--who", metavar="NAME", **absent, help="who is at the keyboard")
    screens.add_argument("--keys", metavar="FILE", **absent, help="a file of your own keys")
    screens.add_argument("--colours", metavar="NAME", **absent, help="a set of colours")

    parser = _Parser(
        prog="faulttree",
        description="Walks a technician through the tests that find why a petrol car does not "
        "drive well. Without a command it opens the screens.",
        epilog=FOOT,
        parents=[folders, screens],
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.set_defaults(run=_home)
    parser.add_argument("--version", action="version", version=f"faulttree {__version__}")
    commands = parser.add_subparsers(
        dest="command", metavar="COMMAND", parser_class=_Parser, title="commands"
    )

    def command(
        name: str,
        run: Callable[[argparse.Namespace], int],
        what: str,
        *parents: _Parser,
        epilog: str = "",
    ) -> _Parser:
        made: _Parser = commands.add_parser(
            name,
            help=what,
            description=f"{what[:1].upper()}{what[1:]}.",
            epilog=epilog,
            parents=[folders, *parents],
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        made.set_defaults(run=run)
        return made

    _add_screens(command, screens)
    _add_reports(command)
    _add_tree_tools(command)
    _add_sums(command)
    _add_score(command)
    _add_studies(command)
    return parser


def _add_screens(command: _Command, screens: _Parser) -> None:
    walk = command("walk", _walk, "take in a car and walk it through the tests", screens)
    walk.add_argument("tree_ids", nargs="*", metavar="TREE", help="the complaints; asked if none")
    walk.add_argument("--vehicle", metavar="ID", help="one of the shop's own cars")
    resume = command("resume", _resume, "go on with a session", screens)
    resume.add_argument("session", metavar="SESSION", help="a path, a name, or its beginning")
    replay = command("replay", _replay, "step through a session", screens)
    replay.add_argument("session", metavar="SESSION", help="a path, a name, or its beginning")
    replay.add_argument(
        "--exercise", action="store_true", help="choose each next step first; the scores are kept"
    )
    for by_lines in (walk, resume, replay):
        by_lines.add_argument(
            "--plain", action="store_true", help="line by line, for screen readers and pipes"
        )


def _add_reports(command: _Command) -> None:
    command("sessions", _sessions, "list the sessions, the latest first")
    handover = command("handover", _handover, "write the report of a session")
    handover.add_argument("session", metavar="SESSION", help="a path, a name, or its beginning")
    handover.add_argument(
        "-o", "--output", metavar="FILE", help="write it there, not to the screen"
    )
    written_as = handover.add_mutually_exclusive_group()
    written_as.add_argument("--html", action="store_true", help="write HTML in place of Markdown")
    written_as.add_argument(
        "--plain", action="store_true", help="write sentences to be read aloud, without tables"
    )


def _add_tree_tools(command: _Command) -> None:
    check = command(
        "check", _check, "load trees and say what is wrong with them", epilog=CHECK_FOOT
    )
    check.add_argument("paths", nargs="*", metavar="PATH", help="files or folders of trees")
    check.add_argument(
        "--explain",
        nargs="?",
        const="",
        metavar="RULE",
        help="say what a rule is about, or list all rules, and stop",
    )
    check.add_argument(
        "--format",
        choices=("text", "json", "sarif", "github"),
        default="text",
        help="how to write what is found",
    )
    check.add_argument("--watch", action="store_true", help="check again whenever one is saved")
    new = command("new", _new, "write a new tree to start from, with every key explained")
    new.add_argument("tree", metavar="TREE-ID", help="its id: small letters, - between words")
    new.add_argument("--complaint", default="", metavar="TEXT", help="the complaint in words")
    draw = command("draw", _draw, "draw the route of a tree")
    draw.add_argument("tree", metavar="TREE", help="the complaint, or the path of its file")
    draw.add_argument(
        "--format",
        choices=("tree", "mermaid", "dot", "svg"),
        default="tree",
        help="how to draw it; `tree` is for a terminal",
    )
    draw.add_argument("--session", metavar="SESSION", help="mark the way that was walked in it")
    command("schema", _schema, "print the JSON Schema of the files that a shop lead writes")


def _add_sums(command: _Command) -> None:
    command("sums", _sums, "list the sums of the trade")
    one_sum = command("sum", _sum, "work one sum out and show the working")
    one_sum.add_argument("name", metavar="NAME", help="a name that `faulttree sums` lists")
    one_sum.add_argument(
        "inputs", nargs="*", default=[], metavar="KEY=VALUE", help="rail='43.5 psi'"
    )


def _add_score(command: _Command) -> None:
    score = command(
        "score", _score, "give the chances of the causes without a screen", epilog=SCORE_FOOT
    )
    score.add_argument("tree_ids", nargs="+", metavar="TREE", help="the complaints")
    score.add_argument("--vehicle", metavar="FILE", help="a vehicle's file, or its id")
    score.add_argument(
        "--spec",
        dest="specs",
        action="append",
        default=[],
        metavar="ID=VALUE",
        help="a figure of the car",
    )
    score.add_argument("--reading", action=_InOrder, metavar="TEST=VALUE", help="what a test read")
    score.add_argument("--repaired", action=_InOrder, metavar="CAUSE", help="a cause put right")
    score.add_argument("--json", action="store_true", help="print JSON")
    score.set_defaults(steps=None)


def _add_studies(command: _Command) -> None:
    rehearse = command("rehearse", _rehearse, "try trees on cars with hidden faults")
    rehearse.add_argument("tree_ids", nargs="+", metavar="TREE", help="the complaints")
    rehearse.add_argument("--vehicle", metavar="FILE", help="a vehicle's file, or its id")
    rehearse.add_argument("--runs", type=int, default=200, metavar="N", help="how many cars")
    rehearse.add_argument("--seed", type=int, default=1, metavar="N", help="which cars")
    rehearse.add_argument(
        "--as", dest="as_cause", metavar="CAUSE", help="only cars with this cause at work"
    )
    rehearse.add_argument(
        "--follow",
        choices=("advice", "route", "both"),
        default="advice",
        help="what the technician goes by",
    )
    rehearse.add_argument(
        "--showing",
        type=float,
        default=100.0,
        metavar="PERCENT",
        help="how often the complaint shows while a test is done that needs it (100)",
    )
    rehearse.add_argument(
        "--processes", type=int, default=os.cpu_count() or 1, metavar="N", help="how many at once"
    )
    rehearse.add_argument("--json", action="store_true", help="print JSON")
    tally = command("tally", _tally, "count complaints, causes and comebacks in the sessions")
    tally.add_argument(
        "--format", choices=("text", "csv", "json"), default="text", help="how to write it"
    )
    learn = command(
        "learn",
        _learn,
        "learn the trees' numbers from the closed sessions, into learned.yaml beside them",
        epilog=LEARN_FOOT,
    )
    learn.add_argument("--dry-run", action="store_true", help="only report, write nothing")
    learn.add_argument(
        "--strength",
        type=float,
        default=20.0,
        metavar="CARS",
        help="how many cars the author's numbers count for (20)",
    )
    learn.add_argument("--json", action="store_true", help="print JSON")


# --- the screens -----------------------------------------------------------------------------


def _home(options: argparse.Namespace) -> int:
    trees, sessions = _trees(options), _sessions_to_write(options)
    _insist_on_terminal()
    from faulttree.screen.app import run_home

    return run_home(trees, sessions, **_screen_options(options))


def _walk(options: argparse.Namespace) -> int:
    from faulttree.session.journal import JournalError, insist_writable

    trees, sessions = _trees(options), _sessions_to_write(options)
    # What is misspelt is said before the screen is taken over; the trees are loaded there.
    _insist_on_trees(options.tree_ids, trees)
    if options.vehicle is not None:
        cars = sorted(path.stem for path in (trees / "vehicles").glob("*.yaml"))
        if options.vehicle not in cars:
            raise Wrong(
                f"There is no vehicle {options.vehicle!r} in {trees / 'vehicles'}."
                f"{_near(options.vehicle, cars)}",
                USAGE,
            )
    try:
        insist_writable(sessions)
    except JournalError as trouble:
        raise Wrong(str(trouble), CONTENT) from None
    if options.plain:
        from faulttree.screen.plain import run_plain

        who = getattr(options, "who", None)
        return run_plain(trees, sessions, tuple(options.tree_ids), options.vehicle, who)
    _insist_on_terminal()
    from faulttree.screen.app import run_walk

    return run_walk(
        trees, sessions, tuple(options.tree_ids), options.vehicle, **_screen_options(options)
    )


def _resume(options: argparse.Namespace) -> int:
    from faulttree.session.journal import JournalError, bring_in
    from faulttree.tree.places import SESSIONS, shipped

    # What was shipped is there to be looked at; work goes on with a copy of one's own.
    path, own = _session_path(options), _sessions_to_write(options)
    record = _record(path)
    if path.parent == shipped(SESSIONS) and not _same_file(path.parent, own):
        try:
            path = bring_in(path, own)
        except JournalError as trouble:
            raise Wrong(str(trouble), CONTENT) from None
    if record.state.closed is not None and not options.plain:
        raise Wrong(
            f"{path}: the session is closed ({record.state.closed.event.outcome}). Look at it with "
            "`faulttree replay`; the screens can reopen it from Home, and so can `resume --plain`.",
            CONTENT,
        )
    if options.plain:
        from faulttree.screen.plain import resume_plain

        return resume_plain(path, getattr(options, "who", None))
    _insist_on_terminal()
    from faulttree.screen.app import run_resume

    return run_resume(
        _trees(options), _sessions_to_write(options), path, **_screen_options(options)
    )


def _replay(options: argparse.Namespace) -> int:
    path = _session_path(options)
    if options.plain:
        # It reads the log itself, and says itself what is wrong with it.
        from faulttree.screen.plain import replay_plain

        return replay_plain(
            path,
            _sessions_to_write(options),
            getattr(options, "who", None),
            exercise=options.exercise,
        )
    _record(path)
    _insist_on_terminal()
    from faulttree.screen.app import run_replay

    return run_replay(
        _trees(options),
        _sessions_to_write(options),
        path,
        exercise=options.exercise,
        **_screen_options(options),
    )


def _screen_options(options: argparse.Namespace) -> dict[str, Any]:
    chosen = {name: getattr(options, name, None) for name in ("who", "keys", "colours")}
    if chosen["keys"] is not None:
        chosen["keys"] = Path(chosen["keys"])
        if not chosen["keys"].is_file():
            raise Wrong(f"There is no file of keys {chosen['keys']}.", CONTENT)
    return chosen


def _insist_on_terminal() -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Wrong(
            "The screens need a terminal, and this is none. Without one there are `walk --plain`, "
            "`resume --plain`, `replay --plain`, `score`, `handover`, `check` and `sessions`.",
            CONTENT,
        )


# --- the reports -----------------------------------------------------------------------------


def _handover(options: argparse.Namespace) -> int:
    from faulttree.session.journal import SUFFIX

    path = _session_path(options)
    record = _record(path)
    from faulttree.handover.html import to_html
    from faulttree.handover.markdown import to_markdown
    from faulttree.handover.report import report

    trouble = "" if record.damage is None else str(record.damage)
    blocks = report(record.state, _knowledge_of(record), trouble)
    title = record.state.opened.title if record.state.opened else path.name
    if options.plain:
        from faulttree.screen.plain.spoken import aloud_text

        text = aloud_text(blocks)
    else:
        text = to_html(blocks, f"Handover: {title}") if options.html else to_markdown(blocks)
    if options.output is None:
        sys.stdout.write(text)
        return 0
    output = Path(options.output)
    if output.suffix == SUFFIX or _same_file(output, path):
        # Logs are added to and never written over, whichever session they are of.
        raise Wrong(f"{output} is the name of a log; give the report another name.", USAGE)
    try:
        output.write_text(text, encoding="utf-8")
    except OSError as trouble_there:
        why = trouble_there.strerror
        raise Wrong(f"{output}: the report cannot be written: {why}.", CONTENT) from None
    return 0


def _same_file(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _sessions(options: argparse.Namespace) -> int:
    from faulttree.session.journal import JournalError, list_sessions

    folder = _sessions_folder(options)
    try:
        cards = list_sessions(folder)
    except JournalError as trouble:
        raise Wrong(str(trouble), CONTENT) from None
    if not cards:
        _print(f"No sessions in {folder}.")
        return 0
    widest = max(len(card.id) for card in cards)
    for card in cards:
        when = f"{card.last_at:%Y-%m-%d %H:%M}" if card.last_at else "?"
        standing = card.outcome or card.status
        trouble_there = f"  [{card.trouble}]" if card.trouble else ""
        _print(
            f"{card.id:{widest}}  {when:16}  {standing:9}  {card.entries:4} entries  "
            f"{card.title}{trouble_there}"
        )
    return 0


def _check(options: argparse.Namespace) -> int:
    from faulttree.tree.check import explain, rule_list

    if options.explain == "":
        sys.stdout.write(rule_list())
        return 0
    if options.explain is not None:
        page = explain(options.explain)
        if page is None:
            from faulttree.tree.rules import RULES

            near = _near(options.explain, RULES) or " `faulttree check --explain` lists them."
            raise Wrong(f"There is no rule {options.explain!r}.{near}", USAGE)
        _print(page.rstrip("\n"))
        return 0
    paths = options.paths or [_trees(options)]
    return _watch(paths, options.format) if options.watch else _check_once(paths, options.format)


def _check_once(paths: Sequence[Path | str], written_as: str) -> int:
    from faulttree.tree.check import check, worst
    from faulttree.tree.render import render

    problems = check(paths)
    sys.stdout.write(render(problems, written_as))
    if problems and written_as == "text":
        sys.stdout.flush()
        first = next(problem for problem in problems if problem.severity == worst(problems))
        _complain(f"more about one: faulttree check --explain {first.rule}")
    return CONTENT if any(problem.severity == "error" for problem in problems) else 0


def _watch(paths: Sequence[Path | str], written_as: str) -> int:
    """Check after every save until the user leaves; gives the code of the last whole check."""
    from faulttree.tree.watch import rounds, stamps

    code = INTERRUPTED
    try:
        for files in rounds(lambda: stamps(paths)):
            code = _check_once(paths, written_as)
            sys.stdout.flush()
            count = f"{len(files)} file{'' if len(files) == 1 else 's'}"
            _complain(f"watching {count}; Ctrl-C ends.")
    except KeyboardInterrupt:
        pass
    return code


def _new(options: argparse.Namespace) -> int:
    from faulttree.tree.load import TreeError
    from faulttree.tree.places import TREES
    from faulttree.tree.skeleton import skeleton, write_new

    folder = _trees(options)
    if getattr(options, "trees", None) is None and folder != Path(TREES):
        raise Wrong(
            f"There are no trees of your own in ./{TREES}. Copy {folder} there, or name a folder "
            "with --trees.",
            USAGE,
        )
    path = folder / f"{options.tree}.yaml"
    try:
        text = skeleton(folder, options.tree, options.complaint)
        write_new(path, text)
    except TreeError as trouble:
        raise Wrong(f"there is nothing sound to draw on:\n{trouble}", CONTENT) from None
    except ValueError as trouble:
        raise Wrong(str(trouble), USAGE) from None
    except FileExistsError:
        raise Wrong(f"{path} is there already; it is not written over.", USAGE) from None
    except OSError as trouble:
        raise Wrong(f"{path} cannot be written: {trouble.strerror}.", CONTENT) from None
    _print(f"{path} is written. Check it with: faulttree check {path}")
    return 0


def _draw(options: argparse.Namespace) -> int:
    from faulttree.tree.draw import FORMATS
    from faulttree.tree.load import TreeError, load
    from faulttree.tree.outline import outline

    if options.session is None:
        folder = _trees(options)
        if not _is_path(options.tree):
            _insist_on_trees([options.tree], folder)
        try:
            knowledge = load([options.tree], trees_dir=folder)
        except TreeError as trouble:
            raise Wrong(f"the tree cannot be used as it stands:\n{trouble}", CONTENT) from None
        made = outline(knowledge, Path(options.tree).name.removesuffix(".yaml"))
    else:
        from faulttree.session.standing import route_step
        from faulttree.session.state import standing_until

        # As the session knew it: the tree may have been written anew since.
        record = _record(_session_path(options))
        knowledge, state = _knowledge_of(record), record.state
        tree = Path(options.tree).name.removesuffix(".yaml")
        if tree not in state.trees:
            raise Wrong(f"The session is not about {tree!r}.{_near(tree, state.trees)}", USAGE)
        # Each repair starts the route anew: the way to every one of them was walked.
        moments = [standing_until(state, fact.sequence - 1) for fact in state.repairs]
        made = outline(
            knowledge, tree, [route_step(then, knowledge, tree) for then in (*moments, state)]
        )
    sys.stdout.write(FORMATS[options.format](made))
    return 0


def _schema(options: argparse.Namespace) -> int:
    import json

    from faulttree.tree.schema import json_schema

    _print(json.dumps(json_schema(), indent=2, ensure_ascii=False))
    return 0


# --- the sums --------------------------------------------------------------------------------


def _sums(options: argparse.Namespace) -> int:
    from faulttree.trade.sums import SUMS

    widest = max(map(len, SUMS))
    for name in sorted(SUMS):
        _print(f"{name:{widest}}  {SUMS[name].about}")
    return 0


def _sum(options: argparse.Namespace) -> int:
    from faulttree.trade.sums import SUMS, SumError, get, read_inputs
    from faulttree.trade.units import ReadingError, UnitError

    texts: dict[str, str] = {}
    for given in options.inputs:
        name, sign, text = given.partition("=")
        if not sign or not name.strip():
            raise Wrong(f"{given!r} is not KEY=VALUE; write it like rail='43.5 psi'.", USAGE)
        if name.strip() in texts:
            raise Wrong(f"{name.strip()} is given twice.", USAGE)
        texts[name.strip()] = text
    if options.name not in SUMS:
        near = _near(options.name, SUMS) or " `faulttree sums` lists them."
        raise Wrong(f"There is no sum called {options.name!r}.{near}", USAGE)
    try:
        chosen = get(options.name)
        if not texts:
            _about_sum(chosen)
            return 0
        inputs, unit = read_inputs(chosen, texts)
        working = chosen.work(inputs, unit)
    except (SumError, ReadingError, UnitError) as trouble:
        raise Wrong(str(trouble), USAGE) from None
    _print(chosen.about)
    for line in working.lines:
        _print(f"  {line}")
    _print(f"Holds for: {chosen.valid}")
    _print(f"Source: {chosen.source}")
    return 0


def _about_sum(chosen: "Sum") -> None:
    _print(chosen.about)
    for name, unit in chosen.inputs.items():
        extra = ", may be left out" if name in chosen.optional else ""
        _print(f"  {name}: {unit or 'a plain number'}{extra}")
    for line in chosen.formula.splitlines():
        _print(f"  {line}")
    _print(f"Gives: {chosen.gives or 'a plain number'}")
    _print(f"Holds for: {chosen.valid}")
    _print(f"Source: {chosen.source}")


# --- the scorer ------------------------------------------------------------------------------


def _score(options: argparse.Namespace) -> int:
    from faulttree.session.chances import reckon
    from faulttree.session.imagined import BadStep, Step, imagine

    knowledge, trees, vehicle = _loaded(options)
    steps = [Step(kind, text) for kind, text in options.steps or ()]
    try:
        state = imagine(knowledge, trees, vehicle, options.specs, steps)
    except BadStep as trouble:
        raise Wrong(str(trouble), USAGE) from None
    if any(check.stage == 0 and check.event.found == "gone" for check in state.checks):
        _complain(
            "A complaint that is gone before any repair is one that comes and goes: it counts as "
            "there, since the car came in with it."
        )
    reckoning = reckon(state, knowledge)
    if reckoning.posterior is None:
        raise Wrong(reckoning.trouble, CONTENT)
    found = _scored(reckoning, reckoning.posterior, knowledge)
    if options.json:
        import json

        sys.stdout.write(json.dumps(found, allow_nan=False, indent=1) + "\n")
    else:
        _print(_score_text(found))
    return 0


def _scored(
    reckoning: "Reckoning", posterior: "Posterior", knowledge: "Knowledge"
) -> dict[str, Any]:
    """All that `score` says, as plain data: the likeliest cause and the best advice first."""
    from faulttree.scorer.advice import advise
    from faulttree.scorer.explain import conflict
    from faulttree.session.chances import before_readings

    network, evidence = reckoning.network, reckoning.evidence
    before = before_readings(reckoning)
    ranked = sorted(reckoning.now.items(), key=lambda pair: -pair[1])
    suggestions = advise(network, evidence, posterior=posterior)
    fit = conflict(network, evidence)
    return {
        "exact": posterior.exact,
        "causes": [
            {
                "id": cause,
                "name": reckoning.names[cause],
                "before": before[cause],
                "chance": chance,
                "at_start": reckoning.at_start[cause],
            }
            for cause, chance in ranked
        ],
        "advice": [
            {
                "kind": suggestion.kind,
                "id": suggestion.id,
                "name": suggestion.name,
                "minutes": suggestion.minutes,
                "expected_cost": suggestion.expected_cost,
                "settles": list(suggestion.settles),
            }
            for suggestion in suggestions
        ],
        "conflict": fit.measure,
        # Of a test read before and after a repair, the later reading.
        "bands": {
            finding.source: dict(finding.bands)
            for finding in evidence.findings
            if finding.source in knowledge.tests
        },
        "omitted": posterior.omitted,
        "remark": fit.message,
    }


def _loaded(options: argparse.Namespace) -> "tuple[Knowledge, list[str], str | None]":
    """The knowledge that the options name, the ids of its trees, and the id of the vehicle."""
    from dataclasses import replace

    from faulttree.tree.load import TreeError, load, load_vehicle

    folder = _trees(options)
    # A path is left to the loader, which says what is wrong with the file.
    _insist_on_trees([tree for tree in options.tree_ids if not _is_path(tree)], folder)
    try:
        knowledge = load(options.tree_ids, trees_dir=folder)
        trees = [Path(tree).name.removesuffix(".yaml") for tree in options.tree_ids]
        trees = list(dict.fromkeys(trees))
        wanted = options.vehicle
        if wanted is None or wanted in knowledge.vehicles:
            return knowledge, trees, wanted
        path = Path(wanted)
        if not path.is_file():
            raise Wrong(
                f"There is no vehicle {wanted!r}, neither as a file nor in {folder / 'vehicles'}."
                f"{_near(wanted, knowledge.vehicles)}",
                USAGE,
            )
        vehicle = load_vehicle(path, trees_dir=folder)
    except TreeError as trouble:
        raise Wrong(f"the trees cannot be used as they stand:\n{trouble}", CONTENT) from None
    vehicles = {**knowledge.vehicles, vehicle.id: vehicle}
    return replace(knowledge, vehicles=vehicles), trees, vehicle.id


def _score_text(found: dict[str, Any]) -> str:
    """What `score` found, for people: the likelier causes, and what to do next."""
    from faulttree.scorer.explain import percent

    lines = [f"{'before':>10}  {'now':>10}  cause"]
    for cause in found["causes"][:SHOWN]:
        lines.append(
            f"{percent(cause['before']):>10}  {percent(cause['chance']):>10}  {cause['name']}"
        )
    if not found["exact"]:
        lines.append(f"Approximate: about {percent(found['omitted'])} of the evidence is left out.")
    lines += ["", f"{'cost':>10}  {'minutes':>10}  what next (cost until the complaint is gone)"]
    for advice in found["advice"][:SHOWN]:
        lines.append(
            f"{advice['expected_cost']:>10.0f}  {advice['minutes']:>10.0f}  "
            f"{advice['kind']}: {advice['name']}"
        )
    if found["remark"]:
        lines += ["", found["remark"]]
    return "\n".join(lines)


# --- the studies -----------------------------------------------------------------------------


def _rehearse(options: argparse.Namespace) -> int:
    from faulttree.study.rehearse import rehearse
    from faulttree.study.rehearse_text import to_json, to_text
    from faulttree.study.simulate import OutOfReach
    from faulttree.tree.car import describe_car

    if options.runs < 1 or options.processes < 1 or options.seed < 0:
        raise Wrong("--runs and --processes begin at 1, --seed at 0.", USAGE)
    if not 0.0 <= options.showing <= 100.0:
        raise Wrong("--showing goes from 0 to 100.", USAGE)
    knowledge, trees, vehicle = _loaded(options)
    if options.as_cause is not None and options.as_cause not in knowledge.causes:
        raise Wrong(
            f"There is no cause {options.as_cause!r}.{_near(options.as_cause, knowledge.causes)}",
            USAGE,
        )
    follows: tuple[Follow, ...] = (
        ("advice", "route") if options.follow == "both" else (options.follow,)
    )
    reports = []
    for follow in follows:
        with _progress(f"by the {follow}") as progress:
            try:
                report = rehearse(
                    knowledge,
                    trees,
                    describe_car(knowledge, vehicle),
                    runs=options.runs,
                    seed=options.seed,
                    follow=follow,
                    as_cause=options.as_cause,
                    showing=options.showing / 100.0,
                    processes=options.processes,
                    progress=progress,
                )
            except KeyError:
                raise Wrong(f"This car cannot have {options.as_cause}.", USAGE) from None
            except OutOfReach as trouble:
                raise Wrong(f"{trouble}.", USAGE) from None
        reports.append(report)
    _print((to_json if options.json else to_text)(*reports).rstrip("\n"))
    return 0


@contextmanager
def _progress(what: str) -> Iterator[Callable[[float], None]]:
    """A bar on standard error for long work, told what share is done; only on a terminal."""
    if not sys.stderr.isatty():
        yield lambda share: None
        return
    shown = -1

    def show(share: float) -> None:
        nonlocal shown
        percent = int(100 * share)
        if percent != shown:
            shown = percent
            done = percent * 40 // 100
            sys.stderr.write(f"\r{what:<16} [{'#' * done}{'.' * (40 - done)}] {percent:3} %")
            sys.stderr.flush()

    try:
        yield show
    finally:
        sys.stderr.write("\r" + " " * 66 + "\r")
        sys.stderr.flush()


def _tally(options: argparse.Namespace) -> int:
    from faulttree.session.journal import JournalError
    from faulttree.study.tally import tally, to_csv, to_json, to_text

    write = {"text": to_text, "csv": to_csv, "json": to_json}[options.format]
    try:
        counts = tally(_sessions_folder(options))
    except JournalError as trouble:
        raise Wrong(str(trouble), CONTENT) from None
    _print(write(counts).rstrip("\n"))
    return 0


def _learn(options: argparse.Namespace) -> int:
    from faulttree.session.journal import JournalError
    from faulttree.study.cases import gather
    from faulttree.study.learn import Refused, TooContradictory, learn, to_json, to_text
    from faulttree.study.overlay import overlay_of
    from faulttree.tree.load import TreeError, load_all

    if not 0.0 < options.strength < float("inf"):
        raise Wrong("--strength must be a number above zero.", USAGE)
    folder = _trees(options)
    try:
        # From the author's figures: from learned ones the same sessions would count twice.
        knowledge = load_all(folder, learned=False)
    except TreeError as trouble:
        raise Wrong(f"the trees cannot be used as they stand:\n{trouble}", CONTENT) from None
    try:
        gathered = gather(knowledge, _sessions_folder(options))
    except JournalError as trouble:
        raise Wrong(str(trouble), CONTENT) from None
    try:
        lesson = learn(knowledge, gathered, strength=options.strength)
    except Refused as trouble:
        left_out = [(count, why) for why, count in gathered.skipped.items()]
        if not isinstance(trouble, TooContradictory):
            left_out += [(1, f"{one.session}: {one.why}") for one in gathered.contradictions]
        listed = "".join(f"\n  left out: {count} ({why})" for count, why in left_out[:LISTED])
        raise Wrong(f"{trouble}{listed}\nNothing was written.", CONTENT) from None
    overlay = overlay_of(lesson, knowledge)
    path, said = _keep_lesson(options, folder, lesson, overlay)
    if options.json:
        _print(to_json(lesson, path, overlay.kept_out).rstrip("\n"))
        return 0
    notes = [f"Kept within bounds: {name}: {why}" for name, why in overlay.kept_out.items()]
    _print("\n".join([to_text(lesson).rstrip("\n"), *notes, said]))
    return 0


def _keep_lesson(
    options: argparse.Namespace, folder: Path, lesson: "Lesson", overlay: "Overlay"
) -> tuple[str, str]:
    """Write what was learnt, where that is wanted and there is any: the file, or "", and a word."""
    from faulttree.study.overlay import CannotWrite, write
    from faulttree.tree.places import TREES, shipped

    if options.dry_run:
        return "", "Nothing was written; the trees are as they were."
    # What came with the program is no place for what one shop has learnt.
    if folder == shipped(TREES) and getattr(options, "trees", None) is None:
        return "", (
            "Nothing was written: these are the trees that came with the program. Copy them to "
            "./trees, or name yours with --trees."
        )
    if not overlay.figures:
        return "", "Nothing was written: no figure moved."
    try:
        path = str(write(folder, overlay, lesson))
    except CannotWrite as trouble:
        raise Wrong(str(trouble), CONTENT) from None
    return path, (
        f"{overlay.figures} figures are written to {path}; sessions opened from now on use them. "
        "Delete that file to go back to the author's."
    )


# --- finding things --------------------------------------------------------------------------


def _trees(options: argparse.Namespace) -> Path:
    from faulttree.tree.places import find_trees

    wanted = getattr(options, "trees", None)
    folder = find_trees(wanted)
    if not folder.is_dir():
        raise Wrong(f"There is no folder of trees {folder}. Give one with --trees.", CONTENT)
    return folder


def _is_path(tree: str) -> bool:
    return tree.endswith(".yaml") or "/" in tree or os.sep in tree


def _insist_on_trees(names: Iterable[str], folder: Path) -> None:
    from faulttree.tree.load import list_trees

    known = [card.id for card in list_trees(folder)]
    for name in names:
        if name not in known:
            raise Wrong(f"There is no tree {name!r} in {folder}.{_near(name, known)}", USAGE)


def _sessions_folder(options: argparse.Namespace) -> Path:
    from faulttree.tree.places import find_sessions

    wanted = getattr(options, "sessions", None)
    folder = find_sessions(wanted)
    if wanted is not None and not folder.is_dir():
        raise Wrong(f"There is no folder of sessions {folder}.", CONTENT)
    return folder


def _sessions_to_write(options: argparse.Namespace) -> Path:
    from faulttree.tree.places import sessions_to_write

    return sessions_to_write(getattr(options, "sessions", None))


def _session_path(options: argparse.Namespace, folder: Path | None = None) -> Path:
    from faulttree.session.journal import JournalError, NoSuchSession, find_session

    try:
        return find_session(folder or _sessions_folder(options), options.session)
    except NoSuchSession as trouble:
        raise Wrong(str(trouble), USAGE) from None
    except JournalError as trouble:
        raise Wrong(str(trouble), CONTENT) from None


def _record(path: Path) -> "Record":
    """The log of a session; what is wrong with it is said, but what is sound can be used."""
    from faulttree.session.journal import JournalError, read

    try:
        record = read(path)
    except JournalError as trouble:
        raise Wrong(str(trouble), CONTENT) from None
    if record.damage is not None:
        _complain(f"{path}: {record.damage}.")
    return record


def _knowledge_of(record: "Record") -> "Knowledge":
    from faulttree.session.journal import JournalError, knowledge_of

    try:
        return knowledge_of(record)
    except JournalError as trouble:
        raise Wrong(str(trouble), CONTENT) from None


# --- words -----------------------------------------------------------------------------------


def _near(word: str, known: Iterable[str]) -> str:
    """A hint that names the nearest known word, or all of them when they are few."""
    from faulttree.trade.words import nearest

    listed = list(known)
    near = nearest(word, listed)
    if near:
        return f" Did you mean {near}?"
    return f" There are: {', '.join(listed)}." if 0 < len(listed) <= LISTED else ""


def _print(text: str) -> None:
    sys.stdout.write(f"{_harmless(text)}\n")


def _complain(text: str) -> None:
    """Say what is wrong; where nobody can hear it, the exit code must do."""
    if sys.stderr is None:
        return
    try:
        sys.stderr.write(f"faulttree: {_harmless(text)}\n")
        sys.stderr.flush()
    except OSError:
        _let_go(sys.stderr)


def _harmless(text: str) -> str:
    """The text without characters that a terminal obeys, line ends kept; data may hold any."""
    return "".join(
        c if c == "\n" or not unicodedata.category(c).startswith(("C", "Zl", "Zp")) else "?"
        for c in text
    )
