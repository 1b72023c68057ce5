"""Trees and sessions are found where the user would look first."""

from pathlib import Path

import pytest

from faulttree.tree import places


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Start in an empty working folder."""
    monkeypatch.chdir(tmp_path)


def test_what_is_asked_for_wins() -> None:
    """A folder that is named is taken, there or not, whatever lies in the working folder."""
    Path("trees").mkdir()
    Path("trees/x.yaml").touch()
    assert places.find_trees("my/trees") == Path("my/trees")
    assert places.find_sessions(Path("logs")) == Path("logs")
    assert places.sessions_to_write("logs") == Path("logs")


def test_trees_beside_the_user_come_before_the_shipped_ones() -> None:
    """`./trees` is taken once it holds YAML; an empty folder of that name is not."""
    assert places.find_trees() == places.shipped("trees")
    Path("trees").mkdir()
    Path("trees/notes.txt").touch()
    assert places.find_trees() == places.shipped("trees")
    Path("trees/x.yaml").touch()
    assert places.find_trees() == Path("trees")


def test_file_called_trees_is_no_folder_of_trees() -> None:
    """A file in the place of `./trees` does no harm."""
    Path("trees").touch()
    assert places.find_trees() == places.shipped("trees")


def test_sessions_are_read_from_the_working_folder_once_there() -> None:
    """Without `./sessions` the shipped sessions are shown."""
    assert places.find_sessions() == places.shipped("sessions")
    Path("sessions").mkdir()
    assert places.find_sessions() == Path("sessions")


def test_sessions_are_never_written_among_the_shipped_ones() -> None:
    """New sessions go to `./sessions`, which need not be there."""
    assert places.sessions_to_write() == Path("sessions")


def test_shipped_folders_are_those_of_the_wheel_or_else_of_the_checkout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wheel carries them inside the package; in a checkout they lie beside it."""
    package = tmp_path / "site" / "faulttree"
    package.mkdir(parents=True)
    monkeypatch.setattr(places, "_PACKAGE", package)
    assert places.shipped("trees") == tmp_path / "site" / "trees"
    (package / "shipped" / "trees").mkdir(parents=True)
    assert places.shipped("trees") == package / "shipped" / "trees"


def test_shipped_trees_are_there() -> None:
    """The trees that come with this checkout or installation can be found."""
    assert list(places.shipped("trees").glob("*.yaml"))
