"""The commands of the studies, on the small trees that the tests of the commands use."""

import json
from pathlib import Path

import pytest

from faulttree.cli import main

from .test_tally import session, write_log

TREES = str(Path(__file__).parent.parent / "cli" / "trees")


def test_rehearse_prints_a_report(capsys: pytest.CaptureFixture[str]) -> None:
    """`rehearse` walks as many cars as asked for, and says so as text and as JSON."""
    asked = ["--trees", TREES, "rehearse", "power-lacking", "--runs", "8", "--processes", "1"]
    assert main(asked) == 0
    assert "power-lacking: 8 sessions by the advice" in capsys.readouterr().out
    assert main([*asked, "--route", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert (report["runs"], report["follow"]) == (8, "route")


def test_rehearse_knows_no_such_cause(capsys: pytest.CaptureFixture[str]) -> None:
    """A misspelt cause and a nought of sessions are errors of the command line."""
    asked = ["--trees", TREES, "rehearse", "power-lacking"]
    assert main([*asked, "--as-cause", "gremlins"]) == 2
    assert "There is no cause 'gremlins'." in capsys.readouterr().err
    assert main([*asked, "--runs", "0"]) == 2


def test_tally_counts_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`tally` counts the sessions of a folder in each of its forms."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    assert main(["--sessions", str(tmp_path), "tally"]) == 0
    assert "1 sessions, 0 of them still open" in capsys.readouterr().out
    assert main(["--sessions", str(tmp_path), "tally", "--format", "csv"]) == 0
    assert "cause,leak,1,40.0,40.0" in capsys.readouterr().out
    assert main(["--sessions", str(tmp_path), "tally", "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["sessions"] == 1


def test_learn_says_when_there_is_too_little(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`learn` refuses one session, says how many it takes, and what was left out."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    asked = ["--trees", TREES, "--sessions", str(tmp_path), "learn"]
    assert main(asked) == 1
    said = capsys.readouterr().err
    assert "it takes 20" in said
    assert "left out: 1 (no listed cause confirmed)" in said
    assert main([*asked, "--strength", "0"]) == 2
