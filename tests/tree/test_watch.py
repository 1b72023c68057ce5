"""Watching: a round at once, one after each save, and the last exit code when the user leaves."""

import itertools
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from faulttree.cli import main
from faulttree.tree import watch
from faulttree.tree.watch import Stamps, rounds, stamps


def save(path: Path, text: str) -> None:
    """Write a file so that its time differs from before, however coarse the clock is."""
    before = path.stat().st_mtime_ns if path.exists() else 0
    path.write_text(text)
    os.utime(path, ns=(before + 10**9, before + 10**9))


@pytest.fixture
def then(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Sets what happens between the looks, one thing after another; then Ctrl-C is pressed."""

    def set_(*what: Callable[[], object]) -> None:
        left: Iterator[Callable[[], object]] = iter(what)

        def wait() -> None:
            act = next(left, None)
            if act is None:
                raise KeyboardInterrupt
            act()

        monkeypatch.setattr(watch, "pause", wait)

    return set_


def nothing() -> None:
    """What happens between two looks when nobody saves."""


def test_round_follows_each_change_and_no_other_look() -> None:
    """There is one round at the start and one for each time that what is seen changes."""
    seen: list[Stamps] = [{"a": (1, 1)}, {"a": (1, 1)}, {"a": (2, 1)}, {"a": (2, 1)}, {}]
    looks = iter(seen)
    found = list(itertools.islice(rounds(lambda: next(looks), nothing), 3))
    assert found == [{"a": (1, 1)}, {"a": (2, 1)}, {}]


def test_change_during_the_work_is_seen() -> None:
    """What is saved while a round is being worked on starts another."""
    now: Stamps = {"a": (1, 1)}
    watching = rounds(lambda: dict(now), nothing)
    next(watching)
    now["a"] = (2, 1)
    assert next(watching) == {"a": (2, 1)}


@pytest.mark.parametrize("path", ["", "engine-stalls.yaml", "shared/fuel.yaml", "vehicles"])
def test_all_that_a_check_reads_is_looked_at(shelf: Path, path: str) -> None:
    """Trees, catalogues and vehicles count, whichever of them is to be checked."""
    every = {str(file) for file in shelf.rglob("*.yaml")}
    assert set(stamps([shelf / path])) >= (every if path != "vehicles" else set())
    assert stamps([shelf / path])


def test_saved_new_and_deleted_files_change_what_is_seen(shelf: Path) -> None:
    """A file that is saved, added or taken away is told from before."""
    first = stamps([shelf])
    save(shelf / "shared" / "fuel.yaml", "format: 1\n")
    second = stamps([shelf])
    save(shelf / "more.yaml", "format: 1\n")
    third = stamps([shelf])
    (shelf / "more.yaml").unlink()
    assert first != second != third
    assert stamps([shelf]) == second
    assert stamps([shelf / "none" / "x.yaml"]) == {}


def test_command_checks_again_after_each_save(
    shelf: Path, then: Callable[..., None], capsys: pytest.CaptureFixture[str]
) -> None:
    """Each save is followed by a check of what is there now, and nothing else is."""
    path = shelf / "engine-stalls.yaml"
    good = path.read_text()
    then(
        nothing,
        lambda: save(path, good.replace("first: idle-watch", "first: idle-wacht")),
        nothing,
        lambda: save(path, good),
        nothing,
    )
    assert main(["check", "--watch"]) == 0
    printed = capsys.readouterr()
    assert printed.err.count("watching 8 files; Ctrl-C ends.") == 3
    assert printed.out.count("there is no test `idle-wacht`") == 1
    assert printed.out.index("`idle-wacht`") > printed.out.index("\n")


def test_leaving_gives_the_code_of_the_last_check(shelf: Path, then: Callable[..., None]) -> None:
    """Ctrl-C leaves with 1 while something is wrong, and with 0 once it is put right."""
    path = shelf / "engine-stalls.yaml"
    good = path.read_text()
    bad = good.replace("first: idle-watch", "first: idle-wacht")
    then(lambda: save(path, bad))
    assert main(["check", "--watch"]) == 1
    then(lambda: save(path, good))
    assert main(["check", "--watch", str(path)]) == 0


def test_leaving_before_the_first_check_is_done_is_an_interruption(
    shelf: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a whole check there is no result to give."""

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("faulttree.tree.check.check", interrupted)
    assert main(["check", "--watch"]) == 130
