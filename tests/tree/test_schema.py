"""The JSON Schema for editors says what the loader's own models say.

To write `faulttree/tree/schema.json` anew: `python tests/tree/test_schema.py`.
"""

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from faulttree.tree import schema
from faulttree.tree.check import check
from faulttree.tree.places import shipped
from faulttree.tree.skeleton import MODE_LINE
from faulttree.tree.source import read_source

FILE = Path(schema.__file__).with_name("schema.json")
BAD = Path(__file__).parents[1] / "bad_trees"
GOOD = sorted((BAD / "good").rglob("*.yaml"))
SHIPPED = sorted(shipped("trees").rglob("*.yaml"))
# Rules of the loader that a schema can express; it knows nothing of ids, units and limits.
OF_FORM = {"missing-key", "unknown-key", "wrong-type", "wrong-value", "chance-certain", "bad-id"}


def as_text() -> str:
    """The schema as the file holds it."""
    return json.dumps(schema.json_schema(), indent=1, ensure_ascii=False) + "\n"


def test_kept_schema_is_the_generated_one() -> None:
    """The file beside the models is what they generate now."""
    assert FILE.read_text(encoding="utf-8") == as_text()


@pytest.mark.skipif(
    shipped("trees").parent != FILE.parents[2], reason="only a checkout has both at hand"
)
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.name)
def test_shipped_file_names_the_schema_to_editors(path: Path) -> None:
    """Every shipped file begins with the line by which an editor finds the schema that is kept."""
    line = path.read_text(encoding="utf-8").split("\n")[0]
    assert line.startswith(MODE_LINE)
    assert (path.parent / line.removeprefix(MODE_LINE)).samefile(FILE)


def test_schema_is_a_json_schema() -> None:
    """The schema is valid by the metaschema of JSON Schema 2020-12."""
    jsonschema.Draft202012Validator.check_schema(schema.json_schema())


@pytest.mark.parametrize("path", [*GOOD, *SHIPPED], ids=lambda path: path.name)
def test_good_file_is_valid_for_an_editor(path: Path) -> None:
    """A general JSON Schema validator accepts what the loader accepts."""
    validator = jsonschema.Draft202012Validator(schema.json_schema())
    assert [error.message for error in validator.iter_errors(read_source(path).data)] == []


def broken_in_form() -> list[str]:
    """The broken files of which the checker says nothing but what a schema can see."""
    names = []
    for out in sorted(BAD.glob("*.out")):
        rules = set(re.findall(r"\[([a-z0-9-]+)\]$", out.read_text(encoding="utf-8"), re.M))
        if rules and rules <= OF_FORM and "is missing" not in out.read_text(encoding="utf-8"):
            names.append(out.stem)
    return names


@pytest.mark.parametrize("name", broken_in_form())
def test_broken_file_is_invalid_for_an_editor(name: str) -> None:
    """A general JSON Schema validator refuses what the loader's models refuse."""
    data = read_source(BAD / f"{name}.yaml").data
    assert not jsonschema.Draft202012Validator(schema.json_schema()).is_valid(data)


def test_every_key_is_described() -> None:
    """An editor has a sentence to show for every key and every kind of entry."""
    missing = []

    def look(node: Any, path: str) -> None:
        for name, inner in node.get("properties", {}).items():
            if not inner.get("description", "").endswith("."):
                missing.append(f"{path}.{name}")

    for name, definition in schema.json_schema()["$defs"].items():
        assert definition["description"].endswith("."), name
        look(definition, name)
    assert missing == []


def test_broken_files_to_try_are_there() -> None:
    """There are broken files of every kind that a schema can see."""
    assert len(broken_in_form()) >= 10
    assert check([BAD / "good"]) == []


if __name__ == "__main__":
    FILE.write_text(as_text(), encoding="utf-8")
