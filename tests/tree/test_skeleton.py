"""A new tree loads as it stands, explains every key, and never takes the place of another file."""

import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from faulttree.cli import main
from faulttree.tree import schema
from faulttree.tree.check import check
from faulttree.tree.load import TreeError, load
from faulttree.tree.places import shipped
from faulttree.tree.skeleton import MODE_LINE, BadTreeId, skeleton, write_new


def with_options(text: str) -> str:
    """The skeleton with all keys that may be left out put in."""
    lines = [line for line in text.split("\n") if not line.startswith(MODE_LINE)]
    return "\n".join(line[2:] if line.startswith("# ") else line for line in lines)


@pytest.mark.parametrize("where", ["shelf", "shipped"])
def test_new_tree_passes_the_check(shelf: Path, tmp_path: Path, where: str) -> None:
    """Nothing at all is wrong with a new tree, on a small shelf and on the one that is shipped."""
    folder = shelf
    if where == "shipped":
        folder = tmp_path / "own"
        folder.mkdir()
        (folder / "shared").symlink_to(shipped("trees") / "shared")
    path = folder / "brand-new.yaml"
    path.write_text(skeleton(folder, "brand-new", "It shakes"))
    severities = [problem.severity for problem in check([path])]
    assert set(severities) <= {"note"}
    tree = load(["brand-new"], trees_dir=folder).trees["brand-new"]
    assert tree.complaint == "It shakes"
    assert len(tree.brings_on) == len(tree.route) == 2


def test_what_may_be_left_out_is_sound_too(shelf: Path) -> None:
    """With every optional key put in, the new tree still has no error, and holds what they say."""
    path = shelf / "brand-new.yaml"
    path.write_text(with_options(skeleton(shelf, "brand-new")))
    assert [str(p) for p in check([path]) if p.severity == "error"] == []
    knowledge = load(["brand-new"], trees_dir=shelf)
    assert "brand-new-own-cause" in knowledge.causes
    assert knowledge.tests["brand-new-own-test"].points_to["brand-new-own-cause"] == {"low": 0.8}


def test_every_key_is_explained(shelf: Path) -> None:
    """Every key of a tree, a cause, a test and what is within them has a line that tells of it."""
    told = [line.lstrip("# ") for line in skeleton(shelf, "brand-new").split("\n") if "##" in line]
    for model in (
        schema.TreeFile,
        schema.CauseEntry,
        schema.TestEntry,
        schema.RepairEntry,
        schema.ReadingEntry,
        schema.PatternEntry,
        schema.SpecLimitEntry,
        schema.ShowsOnlyEntry,
    ):
        for field, info in model.model_fields.items():
            key = info.alias or field
            begins = f"{key}: {(info.description or '')[:30]}"
            assert any(line.startswith(begins) for line in told), key


def test_editor_is_told_of_the_schema(shelf: Path, tmp_path: Path) -> None:
    """A new tree names the schema where there is one, and says how to come by it where not."""
    plain = skeleton(shelf, "brand-new")
    assert not any(line.startswith(MODE_LINE) for line in plain.split("\n"))
    assert "faulttree schema > trees/schema.json" in " ".join(plain.replace("## ", "").split())
    assert f"## {MODE_LINE}schema.json\n" in plain
    (shelf / "schema.json").write_text("{}")
    assert skeleton(shelf, "brand-new").startswith(f"{MODE_LINE}schema.json\n")
    here = shipped("trees")
    if here.parent == Path(schema.__file__).parents[2]:
        named = skeleton(here, "brand-new").split("\n")[0].removeprefix(MODE_LINE)
        assert (here / named).samefile(Path(schema.__file__).with_name("schema.json"))


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(words=st.text(alphabet=st.characters(exclude_categories=["C"]), min_size=1, max_size=40))
def test_any_complaint_is_read_back_as_it_was_said(shelf: Path, words: str) -> None:
    """Quotes, colons, signs and other letters in the complaint survive; spaces in a row are one."""
    path = shelf / "brand-new.yaml"
    path.unlink(missing_ok=True)
    said = " ".join(words.split())
    if not said.isprintable():
        with pytest.raises(ValueError, match="cannot be written"):
            skeleton(shelf, "brand-new", words)
        return
    path.write_text(skeleton(shelf, "brand-new", words), encoding="utf-8")
    complaint = load(["brand-new"], trees_dir=shelf).trees["brand-new"].complaint
    assert complaint == (said or "What the driver complains of, in a few words")


@pytest.mark.parametrize(
    ("tree_id", "why"),
    [
        ("Shakes", "is not an id"),
        ("../shakes", "is not an id"),
        ("shakes.yaml", "is not an id"),
        ("", "is not an id"),
        ("a\x1b[31m", "is not an id"),
        ("learned", "has a meaning of its own"),
        ("otherwise", "has a meaning of its own"),
        ("engine-stalls", "is already the id of a tree"),
        ("battery-weak", "is already the id of a cause"),
        ("idle-watch", "is already the id of a test"),
    ],
)
def test_bad_or_taken_ids_are_refused(
    shelf: Path, capsys: pytest.CaptureFixture[str], tree_id: str, why: str
) -> None:
    """An id that is none, or means something already, is refused, and nothing is written."""
    before = {path: path.read_bytes() for path in shelf.rglob("*") if path.is_file()}
    with pytest.raises(BadTreeId, match=why):
        skeleton(shelf, tree_id)
    assert main(["new", tree_id]) == 2
    said = capsys.readouterr().err
    assert why in said
    assert "\x1b" not in said
    assert {path: path.read_bytes() for path in shelf.rglob("*") if path.is_file()} == before
    assert not list(shelf.parent.glob("*.yaml"))


def test_nothing_to_draw_on_is_told(tmp_path: Path) -> None:
    """Without catalogues, or with broken ones, there is no new tree but the reason."""
    with pytest.raises(TreeError, match="no catalogue here has a test that points to a cause"):
        skeleton(tmp_path, "brand-new")
    (tmp_path / "shared").mkdir()
    (tmp_path / "shared" / "fuel.yaml").write_text("format: 1\ncauses: {a: 1}\n")
    with pytest.raises(TreeError, match=r"fuel\.yaml:2:"):
        skeleton(tmp_path, "brand-new")


def test_command_writes_the_tree_once(shelf: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes the file and names it; a second time it refuses and changes nothing."""
    assert main(["new", "brand-new", "--complaint", "It shakes"]) == 0
    path = shelf / "brand-new.yaml"
    assert str(path) in capsys.readouterr().out
    assert path.read_text() == skeleton_without(shelf, path)
    text = path.read_bytes()
    assert main(["new", "brand-new", "--complaint", "Another"]) == 2
    assert "already the id of a tree" in capsys.readouterr().err
    assert path.read_bytes() == text


def skeleton_without(shelf: Path, path: Path) -> str:
    """What the skeleton says when the file is not there yet."""
    text = path.read_text()
    path.unlink()
    again = skeleton(shelf, path.stem, "It shakes")
    path.write_text(text)
    return again


def test_file_that_cannot_be_read_is_not_written_over(
    shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file of that name is kept even when it is no tree at all."""
    path = shelf / "brand-new.yaml"
    path.write_text("")
    assert main(["new", "brand-new"]) == 2
    assert "it is not written over" in capsys.readouterr().err
    assert path.read_text() == ""
    with pytest.raises(FileExistsError):
        write_new(path, "text")


def test_folder_that_cannot_be_written_is_told(
    shelf: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that takes no file is named with the reason."""

    open_ = Path.open

    def refuse(path: Path, mode: str = "r", *rest: Any, **options: Any) -> Any:
        if mode == "x":
            raise PermissionError(13, os.strerror(13))
        return open_(path, mode, *rest, **options)

    monkeypatch.setattr(Path, "open", refuse)
    assert main(["new", "brand-new"]) == 1
    said = capsys.readouterr().err
    assert said == "faulttree: trees/brand-new.yaml cannot be written: Permission denied.\n"


def test_shipped_trees_are_not_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without trees of one's own the command says what to do, and leaves the shipped ones alone."""
    monkeypatch.chdir(tmp_path)
    before = sorted(shipped("trees").iterdir())
    assert main(["new", "brand-new"]) == 2
    assert "There are no trees of your own in ./trees." in capsys.readouterr().err
    assert sorted(shipped("trees").iterdir()) == before
