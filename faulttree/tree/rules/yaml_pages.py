"""Pages for what is refused while a file is read: YAML that surprises, keys, kinds of values."""

from faulttree.tree.rules.table import refusal


@refusal("file-unreadable", "check the path, and that the file may be read")
def file_unreadable() -> None:
    """A file must be there, readable, and of a size that a tree can have.

    Nothing can be said about a file that cannot be opened. One of more than five megabytes is no
    tree but something else that got its name.
    """


@refusal("file-empty", "`faulttree new TREE-ID` writes a tree to start from")
def file_empty() -> None:
    """A file must hold something.

    An empty file is usually one that was saved before it was written. Delete it, or write at least
    the format and the keys that its kind of file needs.

    Bad:

    ```yaml
    # nothing but this comment
    ```

    Good:

    ```yaml
    format: 1
    about: Readings that are taken on the road.
    ```
    """


@refusal("unknown-file", "check the path and the name")
def unknown_file() -> None:
    """A catalogue that a tree uses must lie in the tree's folder.

    `uses` holds paths from the folder of the tree, as in `shared/fuel.yaml`. The specs, instruments
    and cautions are loaded for every tree and are not named there.

    Bad:

    ```yaml
    uses: [shared/feul.yaml]
    ```

    Good:

    ```yaml
    uses: [shared/fuel.yaml]
    ```
    """


@refusal("not-utf-8", "save the file as UTF-8")
def not_utf_8() -> None:
    """A file must be UTF-8 text.

    Other encodings turn degree and ohm signs into other characters on the next machine. Tell the
    editor to save the file as UTF-8.
    """


@refusal(
    "yaml-syntax", "check quotes, brackets, colons and indentation here and in the line before"
)
def yaml_syntax() -> None:
    """A file must be YAML that can be read on to its end.

    The usual reasons: a tab in the indentation, a colon inside text without quotes, a bracket or a
    quote that is not closed, a line that is indented by one space too many.

    Bad:

    ```yaml
    complaint: Idle hunts: hot or cold
    ```

    Good:

    ```yaml
    complaint: "Idle hunts: hot or cold"
    ```
    """


@refusal("yaml-key", "write a word before the colon")
def yaml_key() -> None:
    """A key must be a word, a name or an id.

    YAML would take a list or nothing at all as a key. Neither can be meant here.

    Bad:

    ```yaml
    brings_on: {? [fuel-pump-weak]: 0.3}
    ```

    Good:

    ```yaml
    brings_on: {fuel-pump-weak: 0.3}
    ```
    """


@refusal("yaml-too-deep", "check the brackets: nothing in a file needs so many levels")
def yaml_too_deep() -> None:
    """A file must not nest its lists and mappings without end.

    The deepest place of a tree is seven levels down. A file that goes on and on has lost a closing
    bracket, or wants to bring the program down.

    Bad:

    ```yaml
    ask: [[[[[[[[[[[[[[[[[[[[[[[[[Hot or cold?]]]]]]]]]]]]]]]]]]]]]]]]]
    ```

    Good:

    ```yaml
    ask: ["Hot or cold?"]
    ```
    """


@refusal("yaml-alias", "write the value out")
def yaml_alias() -> None:
    """Anchors and aliases (& and *) are not used.

    With them a value stands somewhere else than where it is read, and a few lines can stand for
    millions. Write the value out. Text that starts with & or * needs quotes.

    Bad:

    ```yaml
    brings_on: {fuel-pump-weak: &often 0.3, regulator-high: *often}
    ```

    Good:

    ```yaml
    brings_on: {fuel-pump-weak: 0.3, regulator-high: 0.3}
    ```
    """


@refusal("yaml-merge", "write the keys out in full")
def yaml_merge() -> None:
    """Merge keys (<<) are not used.

    They belong to an older YAML, and hide what an entry really holds. Write the keys out.

    Bad:

    ```yaml
    route:
      idle-watch: {<<: {hunting: fuel-pressure-prime}, steady: fuel-pressure-prime}
    ```

    Good:

    ```yaml
    route:
      idle-watch: {hunting: fuel-pressure-prime, steady: fuel-pressure-prime}
    ```
    """


@refusal("yaml-tag", "leave it out")
def yaml_tag() -> None:
    """Tags (!) are not used.

    What kind of value a key takes is known; a tag could only say the same or something wrong. Text
    that starts with an exclamation mark needs quotes.

    Bad:

    ```yaml
    not_listed: !!float 0.05
    ```

    Good:

    ```yaml
    not_listed: 0.05
    ```
    """


@refusal("yaml-documents", "keep one document to a file")
def yaml_documents() -> None:
    """A file must hold one document.

    What comes after a line of three dashes would be read by nobody.

    Bad:

    ```yaml
    complaint: The engine stalls
    ---
    complaint: The engine runs on
    ```

    Good:

    ```yaml
    complaint: The engine stalls
    ```
    """


@refusal("duplicate-key", "take one of them out")
def duplicate_key() -> None:
    """A key must not be written twice in one mapping.

    YAML readers take the last one and say nothing, so that the first is lost in silence.

    Bad:

    ```yaml
    brings_on:
      fuel-pump-weak: 0.3
      regulator-high: 0.2
      fuel-pump-weak: 0.5
    ```

    Good:

    ```yaml
    brings_on:
      fuel-pump-weak: 0.3
      regulator-high: 0.2
    ```
    """


@refusal("number-not-finite", "write a plain number, such as 0.01")
def number_not_finite() -> None:
    """A number must be finite and of a size that can be used.

    Infinity and not-a-number pass through every sum and come out as nonsense.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {minutes: .inf}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {minutes: 15}
    ```
    """


@refusal("no-value", "write a value, or take the line out")
def no_value() -> None:
    """A key that is written must have a value.

    A key with nothing after the colon, or with text that is empty, is one that was forgotten. In
    `{low:0.5}` the space after the colon is missing, and the whole of it is the key.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime:
        by_chance: {low:0.02, high: 0.02}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        by_chance: {low: 0.02, high: 0.02}
    ```
    """


@refusal("missing-key", "add it")
def missing_key() -> None:
    """An entry must have every key that its kind needs.

    The place named is the entry that lacks it.

    Bad:

    ```yaml
    format: 1
    instruments:
      fuel-gauge: {name: Fuel pressure gauge, unit: psi}
    ```

    Good:

    ```yaml
    format: 1
    instruments:
      fuel-gauge: {name: Fuel pressure gauge, unit: psi, accuracy: 0.5}
    ```
    """


@refusal("unknown-key", "write a key that there is, or take the line out")
def unknown_key() -> None:
    """An entry must have no keys that nobody reads.

    A misspelt key would be passed over in silence, and with it what it says.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {minuts: 15}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {minutes: 15}
    ```
    """


@refusal("wrong-type", "write a value of the kind that is asked for")
def wrong_type() -> None:
    """A value must be of the kind that its key takes: text, a number, a list or a mapping.

    Nothing is turned from one kind into another. A decimal comma makes text of a number; a number
    that is meant as text needs quotes.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {minutes: "7,5"}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {minutes: 7.5}
    ```
    """


@refusal("wrong-value", "write a value that is allowed")
def wrong_value() -> None:
    """A value must be one that its key can take.

    Some keys take one of a few words, some a number from a range, some a list of a certain length.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime: {reach: 7}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime: {reach: 2}
    ```
    """


@refusal(
    "chance-certain",
    "nothing is impossible: take the line out, or write a small chance such as 0.01",
)
def chance_certain() -> None:
    """A chance must be more than 0 and less than 1.

    A chance of 0 or 1 cannot be moved by any reading, however many speak against it. Leave a band
    out if it says nothing about a cause.

    Bad:

    ```yaml
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-weak: {low: 1}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-prime:
        points_to:
          fuel-pump-weak: {low: 0.95}
    ```
    """


@refusal("bad-id", "small letters and digits, with - between words")
def bad_id() -> None:
    """An id must be small letters and digits, with hyphens between words.

    Ids are typed at the command line and stand in file names and in logs. The ids of specs have
    underscores in place of hyphens, because sums take them as names.

    Bad:

    ```yaml
    tests:
      Fuel_Pressure: {name: Fuel pressure}
    ```

    Good:

    ```yaml
    tests:
      fuel-pressure-again: {name: Fuel pressure}
    ```
    """
