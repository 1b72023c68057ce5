"""From what was read to how likely each band is: the evidence that the scorer counts.

A number from an instrument of standard uncertainty u gives each band the chance that the true
value lies in it (JCGM 106:2012, clause 7). An accuracy is a half-width of a rectangular
distribution, so u = accuracy / sqrt(3) (JCGM 100:2008, 4.3.7). Repeats of one test are one
finding: their mean, with u^2 = u_instrument^2 + s^2 / n. What a test does with its bands is in
`network`; this module stops at the chances of the bands.
"""

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from faulttree.trade import units
from faulttree.trade.patterns import pattern_chances
from faulttree.trade.sums import SUMS
from faulttree.tree.car import Car, instrument_for, limit_value, limits_for
from faulttree.tree.model import Knowledge, Part, Test

NEAR = 2.0
"""A figure within this many standard uncertainties of a limit should be taken again."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What was entered at a test, once.

    A number test fills `values`, keyed by the part's name, each with one number, or one for each
    cylinder (in cylinder order), in the part's unit and as shown by the instrument. A choice test
    fills `choice`. `instruments` names the instrument really used where it differs from the one
    the test asks for.
    """

    values: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    choice: str | None = None
    instruments: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Weighed:
    """What an entry (and its repeats) comes to.

    `figure` is the number that was banded (None for patterns and choices) in `unit`, with its
    standard uncertainty `u`; `true_values` are the entered values after instrument correction, of
    the last entry. `bands` gives every band's chance and sums to 1. `near` says that the figure
    lies within two standard uncertainties of a limit, so that the test is worth repeating.
    """

    bands: Mapping[str, float]
    figure: float | None = None
    u: float | None = None
    unit: str = ""
    limits: tuple[float, ...] = ()
    true_values: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    near: bool = False

    @property
    def band(self) -> str:
        """The likeliest band."""
        return max(self.bands, key=lambda name: self.bands[name])


@dataclass(frozen=True, slots=True)
class Finding:
    """One piece of evidence: a test or a complaint, when it was found, and its bands' chances.

    `source` is the id of a test, or of a tree for its complaint (bands `present` and `gone`).
    `stage` counts the repairs made before it. `showing` is False when the technician said that
    the complaint did not show itself at that moment.
    """

    source: str
    bands: Mapping[str, float]
    stage: int = 0
    showing: bool | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is known: the findings in order, and from which stage each repaired cause is gone."""

    findings: tuple[Finding, ...] = ()
    repaired: Mapping[str, int] = field(default_factory=dict)

    @property
    def stage(self) -> int:
        """The stage that readings taken now belong to."""
        return max(self.repaired.values(), default=0)


PRESENT = "present"
GONE = "gone"
