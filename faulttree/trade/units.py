"""The units of the trade and the reading of typed figures, in one place to import from.

`measures` holds the units and their conversion, `typed` the rules for what people type.
"""

from faulttree.trade.measures import (
    UnitError,
    canonical,
    convert,
    convert_difference,
    kind,
    known,
    of_kind,
    prepare,
    same_kind,
    spellings,
    suggest,
    units,
)
from faulttree.trade.typed import (
    Quantities,
    Quantity,
    ReadingError,
    parse_list,
    parse_quantity,
)
from faulttree.trade.words import plain

__all__ = [
    "Quantities",
    "Quantity",
    "ReadingError",
    "UnitError",
    "canonical",
    "convert",
    "convert_difference",
    "kind",
    "known",
    "of_kind",
    "parse_list",
    "parse_quantity",
    "plain",
    "prepare",
    "same_kind",
    "spellings",
    "suggest",
    "units",
]
