"""Values that a sum works out of others: what compression to expect at the altitude of the shop.

The pressures of ISO 2533:1975, table 5, are those of `tests/trade` (read second-hand).
"""

import json
from pathlib import Path

import pytest

from faulttree.scorer.evidence import weigh
from faulttree.screen.wording import why_limits
from faulttree.session.entry import parse_entry
from faulttree.session.imagined import imagine
from faulttree.session.standing import car_of, specs_of, specs_used
from faulttree.tree.car import Car, describe_car, limit_value
from faulttree.tree.document import from_document
from faulttree.tree.load import load
from faulttree.tree.model import Knowledge, Value

# Geopotential altitude in m and pressure in hPa.
ISO_2533 = ((0, 1013.25), (500, 954.608), (1000, 898.746), (1500, 845.560), (3000, 701.085))
SEA_LEVEL = 1013.25

TREES = Path(__file__).parents[2] / "trees"
KNOWN = load(["misfire"], trees_dir=TREES)
COMPRESSION = KNOWN.tests["compression-dry"]


def camper(**typed: Value) -> Car:
    """The camper of the shipped trees, 150 psi by its card, with further figures typed in."""
    return describe_car(KNOWN, "camper-four", typed)


def level(car: Car, knowledge: Knowledge = KNOWN) -> float:
    """The level of `all low`, in psi."""
    pattern = knowledge.tests["compression-dry"].pattern
    assert pattern is not None
    assert pattern.level_below is not None
    return limit_value(pattern.level_below, "psi", car, knowledge)


@pytest.mark.parametrize(("altitude", "hectopascal"), ISO_2533)
def test_level_of_compression_follows_the_standard_atmosphere(
    altitude: float, hectopascal: float
) -> None:
    """Three quarters of 150 psi, taken down as the pressure of ISO 2533 falls."""
    expected = 0.75 * 150 * hectopascal / SEA_LEVEL
    assert level(camper(altitude=float(altitude))) == pytest.approx(expected, abs=2e-3)


def test_altitude_not_known_counts_as_sea_level_and_the_card_says_so() -> None:
    """Without an altitude the book's own figure holds, and the card names both of its sources."""
    assert level(camper()) == pytest.approx(0.75 * 150, abs=1e-9)
    assert camper().specs["compression_here"].origin == "generic"
    said = " ".join(why_limits(COMPRESSION, camper(), KNOWN))
    assert "150 psi (the car's file)" in said
    assert "Altitude of the workshop 0 m (a generic figure)" in said


def test_sound_engine_in_the_hills_is_not_all_low() -> None:
    """104 psi in every cylinder is a sound engine at 2500 m, and a worn one at the sea.

    ISO 2533 gives 746.825 hPa there: 150 psi come to 110.6, three quarters of that to 82.9.
    """
    read = "104, 105, 103, 104 psi"
    here, there = camper(), camper(altitude=2500.0)
    low = weigh(COMPRESSION, [parse_entry(COMPRESSION, read, here)], here, KNOWN)
    sound = weigh(COMPRESSION, [parse_entry(COMPRESSION, read, there)], there, KNOWN)
    assert low.band == "all low"
    assert sound.band == "in limits"
    assert sound.limits == pytest.approx([0.75 * 150 * 746.825 / SEA_LEVEL], abs=2e-3)


def test_figure_typed_for_this_altitude_wins_over_the_sum() -> None:
    """A maker's figure for just this place is not taken down a second time."""
    car = camper(altitude=1500.0, compression_here=900.0)
    assert car.number("compression_here") == 900.0
    assert car.specs["compression_here"].origin == "typed"
    assert car.specs["compression_here"].out_of == ()


def test_worked_out_value_is_as_sure_as_its_poorest_figure() -> None:
    """Typed altitude and the car's own file make a figure of the car's file; both typed, typed."""
    assert camper(altitude=800.0).specs["compression_here"].origin == "vehicle"
    both = camper(altitude=800.0, compression=1000.0).specs["compression_here"]
    assert (both.origin, both.out_of) == ("typed", ("compression", "altitude"))


def test_altitude_outside_the_atmosphere_leaves_the_value_unknown() -> None:
    """What the sum does not hold for is not guessed at."""
    assert "compression_here" not in camper(altitude=9000.0).specs


def test_saved_trees_work_it_out_alike() -> None:
    """Built again from its document as JSON, the knowledge has the same level to the last digit."""
    again = from_document(json.loads(json.dumps(KNOWN.document)))
    assert again.digest == KNOWN.digest
    car = describe_car(again, "camper-four", {"altitude": 1500.0})
    assert level(car, again) == level(camper(altitude=1500.0))


def test_reading_keeps_the_figures_it_stands_on() -> None:
    """Beside the level a reading of compression keeps the book's figure and the altitude."""
    assert {"compression_here", "compression", "altitude"} <= set(specs_of(COMPRESSION, camper()))
    used = {one.spec: one.value for one in specs_used(COMPRESSION, camper(altitude=500.0))}
    assert used["altitude"] == 500.0
    assert used["compression_here"] == pytest.approx(150 * 6.894757 * 954.608 / SEA_LEVEL, abs=2e-2)


def test_card_of_the_vacuum_names_the_altitude_it_is_brought_down_by() -> None:
    """What a sum takes the reading by is told like the limit itself, with its origin."""
    knowledge = load(["idle-unsteady"], trees_dir=TREES)
    car = describe_car(knowledge, "camper-four")
    said = why_limits(knowledge.tests["manifold-vacuum-idle"], car, knowledge)
    assert "Altitude of the workshop 0 m, a generic figure" in said


def test_figures_typed_in_a_session_still_name_what_a_value_came_of() -> None:
    """Where all that goes into a value was typed, it is known to be worked out all the same."""
    typed = ["altitude=1500 m", "compression=150 psi"]
    car = car_of(imagine(KNOWN, ["misfire"], "camper-four", typed), KNOWN)
    here = car.specs["compression_here"]
    assert (here.origin, set(here.out_of)) == ("typed", {"compression", "altitude"})
