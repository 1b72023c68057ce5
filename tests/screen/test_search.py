"""Finding by typed words: what was meant stands first."""

import pytest

from faulttree.screen.search import rank

NAMES = (
    "Manifold vacuum at hot idle",
    "Choke and fast idle, cold and hot",
    "Idle mixture on a hot engine",
    "Hot idle watched for 60 seconds",
    "Injectors compared",
    "Compression, dry",
    "Spark plugs, faces",
    "Swap the coils of two cylinders",
    "Coolant hot enough to open the thermostat",
)


def found(query: str) -> list[str]:
    """The names that answer, the best first; those alike keep their order."""
    scores = {name: rank(query, (name,)) for name in NAMES}
    return sorted((name for name in NAMES if scores[name] > 0), key=lambda name: -scores[name])


@pytest.mark.parametrize("query", ["hot idle", "Hot IDLE", " hot  idl"])
def test_the_phrase_comes_before_its_words(query: str) -> None:
    """A name that begins with what was typed is first, then one with it inside, all, some."""
    assert found(query) == [
        "Hot idle watched for 60 seconds",
        "Manifold vacuum at hot idle",
        # Both words, but not as they were typed.
        "Choke and fast idle, cold and hot",
        "Idle mixture on a hot engine",
        "Coolant hot enough to open the thermostat",
    ]


@pytest.mark.parametrize(
    ("query", "first"),
    [
        ("comp", "Compression, dry"),
        ("compared", "Injectors compared"),
        ("vacuum at hot idle", "Manifold vacuum at hot idle"),
        ("plug", "Spark plugs, faces"),
        ("the spark", "Spark plugs, faces"),
        ("the", "Swap the coils of two cylinders"),
        ("cold idle", "Choke and fast idle, cold and hot"),
    ],
)
def test_what_was_meant_is_first(query: str, first: str) -> None:
    """Beginnings of names, phrases inside them and the telling words lead where they should."""
    assert found(query)[0] == first


def test_more_words_count_more_than_a_phrase_of_some() -> None:
    """A name with all words stands before one that has a part of them side by side."""
    assert rank("idle hot engine", ("Idle on a hot engine",)) > rank(
        "idle hot engine", ("Idle hot",)
    )


def test_nothing_found_is_nothing() -> None:
    """Words that stand nowhere rank 0; nothing typed ranks all alike."""
    assert rank("unicorn", NAMES) == 0.0
    assert rank(" ", NAMES) == rank("", ("x",)) == 1.0


def test_any_of_several_phrases_may_answer() -> None:
    """A phrase of several holds its words together: two phrases with one each come after it."""
    together = rank("stalls hot", ("Idle wanders", "It stalls hot"))
    apart = rank("stalls hot", ("Stalls at lights", "Runs hot"))
    assert together > apart > rank("stalls hot", ("Runs hot",))


def test_the_name_counts_more_than_what_else_it_is_called() -> None:
    """What a name begins with stands before what only its id begins with."""
    assert rank("plug", ("Plug leads", "leads")) > rank("plug", ("Primary windings", "plug-coil"))
    assert rank("plug", ("Spark plug", "gap")) >= rank("plug", ("Primary windings", "plug-coil"))
