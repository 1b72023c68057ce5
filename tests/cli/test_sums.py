"""`faulttree sums`, `faulttree sum` and `faulttree schema`."""

import json

import pytest

from faulttree.cli import main


def test_sums_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Every sum stands in the list with what it is for."""
    from faulttree.trade.sums import SUMS

    assert main(["sums"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert {line.split()[0] for line in lines} == set(SUMS)


def test_a_sum_shows_its_working(capsys: pytest.CaptureFixture[str]) -> None:
    """43.5 psi at the rail and 18 inHg of vacuum press with 360.9 kPa (Bernoulli, derived)."""
    assert main(["sum", "injector-pressure", "rail=43.5 psi", "vacuum=18 inHg"]) == 0
    out = capsys.readouterr().out
    assert "360.877 kPa" in out
    assert "Source:" in out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["sum", "injector-presure"], "Did you mean injector-pressure?"),
        (["sum", "injector-pressure", "rail"], "is not KEY=VALUE"),
        (["sum", "injector-pressure", "rail=1 psi", "rail=2 psi"], "given twice"),
        (["sum", "injector-pressure", "rail=12 V", "vacuum=18 inHg"], "pressure is wanted"),
    ],
)
def test_a_sum_says_what_is_wrong(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One message on standard error, exit code 2."""
    assert main(arguments) == 2
    assert said in capsys.readouterr().err


def test_the_schema_is_json(capsys: pytest.CaptureFixture[str]) -> None:
    """What is printed is the schema that the shipped trees name."""
    from faulttree.tree.schema import json_schema

    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out) == json_schema()
