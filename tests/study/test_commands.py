"""The commands of the studies, on the small trees that the tests of the commands use."""

import json
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from faulttree.cli import main
from faulttree.session.events import Closed, ComplaintTaken, Opened
from faulttree.tree import places
from faulttree.tree.check import check
from faulttree.tree.load import load_all

from .shop import simulate_shop, write_shop
from .test_tally import START, session, write_log

TREES = str(Path(__file__).parent.parent / "cli" / "trees")


def test_rehearse_prints_a_report(capsys: pytest.CaptureFixture[str]) -> None:
    """`rehearse` walks as many cars as asked for, and says so as text and as JSON."""
    asked = ["--trees", TREES, "rehearse", "power-lacking", "--runs", "8", "--processes", "1"]
    assert main(asked) == 0
    assert "power-lacking: 8 sessions by the advice" in capsys.readouterr().out
    assert main([*asked, "--follow", "route", "--json"]) == 0
    out, err = capsys.readouterr()
    report = json.loads(out)
    assert (report["runs"], report["follow"]) == (8, "route")
    assert err == ""


def test_rehearse_sets_the_route_beside_the_advice(capsys: pytest.CaptureFixture[str]) -> None:
    """`--follow both` walks the same cars both ways, for one complaint or several."""
    asked = ["--trees", TREES, "rehearse", "power-lacking", "idle-unsteady", "--runs", "6"]
    assert main([*asked, "--processes", "1", "--follow", "both"]) == 0
    out = capsys.readouterr().out
    assert "6 sessions by the advice and by the authored route" in " ".join(out.split())
    assert "by advice             by route" in out


def test_a_bar_shows_the_progress_on_a_terminal_alone(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a terminal standard error gets a bar that is wiped at the end; the report has none."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    asked = ["--trees", TREES, "rehearse", "power-lacking", "--runs", "6", "--processes", "1"]
    assert main([*asked, "--showing", "50"]) == 0
    out, err = capsys.readouterr()
    assert "[########################################] 100 %" in err
    assert err.endswith("\r")
    assert "\r" not in out
    assert "shows at 50% of the tests" in out
    assert main([*asked, "--showing", "101"]) == 2


def test_rehearse_knows_no_such_cause(capsys: pytest.CaptureFixture[str]) -> None:
    """A misspelt cause and a nought of sessions are errors of the command line."""
    asked = ["--trees", TREES, "rehearse", "power-lacking"]
    assert main([*asked, "--as", "gremlins"]) == 2
    assert "There is no cause 'gremlins'." in capsys.readouterr().err
    assert main([*asked, "--runs", "0"]) == 2


def test_tally_counts_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`tally` counts the sessions of a folder in each of its forms."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    assert main(["--sessions", str(tmp_path), "tally"]) == 0
    assert "1 sessions, 0 of them still open" in capsys.readouterr().out
    assert main(["--sessions", str(tmp_path), "tally", "--format", "csv"]) == 0
    assert "cause,leak,1,30.0,30.0," in capsys.readouterr().out
    assert main(["--sessions", str(tmp_path), "tally", "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["sessions"] == 1


def test_learn_says_when_there_is_too_little(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`learn` refuses one session, says what it takes and was left out, and writes nothing."""
    write_log(tmp_path / "a.jsonl", session("leak"))
    asked = ["--trees", TREES, "--sessions", str(tmp_path), "learn"]
    assert main(asked) == 1
    said = capsys.readouterr().err
    assert "it takes 20" in said
    assert "left out: 1 (no listed cause confirmed)" in said
    assert "Nothing was written" in said
    assert not (Path(TREES) / "learned.yaml").exists()
    for strength in ("0", "nan", "inf"):
        assert main([*asked, "--strength", strength]) == 2


def test_learn_names_the_sessions_that_contradict_themselves(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One is left out by name and the rest teaches; when there are too many, nothing is learnt."""
    paths = sorted((shop / "sessions").iterdir())
    opened = Opened("1.0.0", ("power-lacking",), "0" * 64, "x")
    closed = Closed("cured", ("air-leak",))

    def spoil(path: Path, minutes: int) -> None:
        at = START + timedelta(minutes=minutes)
        write_log(path, [opened, ComplaintTaken("power-lacking"), closed], at)

    spoil(paths[0], 0)
    assert main(["learn", "--dry-run"]) == 0
    said = capsys.readouterr().out
    assert "Learnt from 59 closed sessions" in said
    assert f"  {paths[0].stem}: closed as cured, but nothing was repaired" in said
    for number, path in enumerate(paths[1:20], 1):
        spoil(path, number)
    assert main(["learn"]) == 1
    said = capsys.readouterr().err
    assert "20 of 60 sessions closed as cured speak against themselves" in said
    assert said.count("nothing was repaired") == 5
    assert not (shop / "trees" / "learned.yaml").exists()


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with trees of its own and sixty simulated sessions."""
    shutil.copytree(TREES, tmp_path / "trees")
    truth = load_all(tmp_path / "trees", learned=False)
    write_shop(tmp_path / "sessions", simulate_shop(truth, 60, 1))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_learn_writes_an_overlay_that_the_other_commands_use(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`learn` writes, `check` passes it, the loader uses it, and deleting it undoes all."""
    before = load_all("trees")
    assert main(["learn"]) == 0
    said = capsys.readouterr().out
    assert "Learnt from 60 closed sessions" in said
    assert "Delete that file to go back" in said
    assert [p for p in check([Path("trees")]) if p.severity == "error"] == []
    assert load_all("trees").causes != before.causes
    (shop / "trees" / "learned.yaml").unlink()
    assert load_all("trees") == before


def test_learn_can_only_report(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --dry-run the same report comes, as text or JSON, and nothing is written."""
    assert main(["learn", "--dry-run", "--strength", "5"]) == 0
    said = capsys.readouterr().out
    assert "as if seen on 5 cars" in said
    assert said.endswith("Nothing was written; the trees are as they were.\n")
    assert main(["learn", "--dry-run", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["sessions"], data["written"]) == (60, "")
    assert not (shop / "trees" / "learned.yaml").exists()


def test_learn_leaves_the_trees_that_came_with_the_program(
    shop: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without trees of one's own there is no place to write; the report comes all the same."""
    (shop / "trees").rename(shop / "came-with-it")
    monkeypatch.setattr(places, "shipped", lambda _: shop / "came-with-it")
    assert main(["learn"]) == 0
    assert "these are the trees that came with the program" in capsys.readouterr().out
    assert not (shop / "came-with-it" / "learned.yaml").exists()


def test_learn_does_not_write_over_what_was_made_by_hand(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An overlay that somebody wrote is an error that says so, and stays."""
    path = shop / "trees" / "learned.yaml"
    path.write_text("format: 1\n")
    assert main(["learn"]) == 1
    assert "was not written by `faulttree learn`" in capsys.readouterr().err
    assert path.read_text() == "format: 1\n"
