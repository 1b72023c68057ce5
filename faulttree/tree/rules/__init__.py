"""The rules that trees are checked by; each rule's docstring is its page."""

from faulttree.tree.rules import (
    coarse,
    load_pages,
    numbers,
    reached,
    routes,
    telling,
    wording,
    yaml_pages,
)
from faulttree.tree.rules.table import TABLE, Checked, Rule

__all__ = [
    "RULES",
    "Checked",
    "Rule",
    "coarse",
    "load_pages",
    "numbers",
    "reached",
    "routes",
    "telling",
    "wording",
    "yaml_pages",
]

RULES = TABLE.rules
"""Every rule by its id."""
