"""Which instruments are offered for a reading: those that can take it, the right one first."""

from dataclasses import replace

import pytest

from faulttree.screen.instruments import offered
from faulttree.tree.load import load_all
from faulttree.tree.places import TREES, shipped


@pytest.fixture(scope="module")
def shelf():
    """All that the shipped shop knows."""
    return load_all(shipped(TREES))


def ids(shelf, test, part=0):
    """What is offered for a part of a shipped test."""
    found = shelf.tests[test]
    return [one.id for one in offered(found, found.reading.parts[part], shelf)]


def test_the_instrument_that_is_asked_for_comes_first(shelf):
    """Whatever else there is, the first one is what the test asks for, in every test."""
    for test in shelf.tests.values():
        for part in test.reading.parts if test.reading else ():
            if part.instrument:
                assert offered(test, part, shelf)[0].id == part.instrument, test.id


@pytest.mark.parametrize(
    ("test", "part", "first", "never"),
    [
        # Pressure: a gauge for the rail, not one that a rail would burst, nor one for suction.
        ("fuel-pressure-prime", 0, "fuel-gauge", {"fuel-gauge-low", "vacuum-gauge"}),
        ("injector-balance", 0, "fuel-gauge", {"fuel-gauge-low", "compression-gauge"}),
        ("compression-wet", 0, "compression-gauge", {"fuel-gauge"}),
        ("plug-gap", 0, "wire-gauge", {"depth-gauge"}),
        ("fuel-pressure-throttle-body", 0, "fuel-gauge", {"thermometer", "compression-gauge"}),
        # Suction, also where it is counted in kPa and no instrument is asked for.
        ("manifold-vacuum-idle", 0, "vacuum-gauge", {"fuel-gauge", "compression-gauge"}),
        ("vacuum-hold-2500", 0, "vacuum-gauge", {"fuel-gauge", "compression-gauge"}),
        ("air-filter-depression", 0, "vacuum-gauge", {"compression-gauge"}),
        ("purge-valve-holds", 0, "vacuum-gauge", {"compression-gauge"}),
        ("crankcase-pressure", 0, "vacuum-gauge", {"compression-gauge"}),
        # Revolutions: what counts a cranking engine does not count a running one.
        ("idle-speed", 0, "strobe-rev-meter", {"cranking-rev-meter"}),
        ("cranking-speed", 0, "cranking-rev-meter", {"stopwatch"}),
        # Resistance, volts, time.
        ("injector-resistance", 0, "multimeter-ohms", {"multimeter-kilohms"}),
        ("coil-secondary", 0, "multimeter-kilohms", {"multimeter-ohms"}),
        ("fuel-pump-volts", 0, "multimeter-volts", {"multimeter-ohms"}),
        ("idle-return", 0, "stopwatch", {"strobe-rev-meter"}),
        # Percent of one thing is not percent of another, nor an angle that of another shaft.
        ("leakage-test", 0, "leakage-tester", {"gas-analyser-co", "socket-reader"}),
        ("lambda-idle", 0, "gas-analyser-co", {"gas-analyser-co2", "leakage-tester"}),
        ("dwell-angle", 0, "dwell-meter", {"strobe-lamp"}),
        ("base-timing", 0, "strobe-lamp", {"dwell-meter"}),
        ("float-level", 0, "depth-gauge", {"wire-gauge"}),
    ],
)
def test_a_technician_finds_the_right_one_first(shelf, test, part, first, never):
    """The gauge for the job stands first, and what could not take the reading is not there."""
    found = ids(shelf, test, part)
    assert found[0] == first
    assert never <= set(shelf.instruments)
    assert not never & set(found)


def test_another_strobe_can_stand_in(shelf):
    """What the test names among its tools is offered although a bare angle says nothing."""
    assert ids(shelf, "base-timing") == ["strobe-lamp", "strobe-lamp-advance"]


def test_kilometres_are_not_taken_with_a_wire_gauge(shelf):
    """A unit of the same kind is not enough: nothing in the shop measures a road."""
    assert ids(shelf, "consumption-measured") == []


def test_a_spare_instrument_of_the_same_name_is_offered(shelf):
    """A second analyser that no test asks for can be named as the one that was used."""
    spare = replace(
        shelf.instruments["gas-analyser-co"], id="spare", name="Gas analyser, the old one"
    )
    more = replace(shelf, instruments={**shelf.instruments, "spare": spare})
    assert ids(more, "co-idle") == ["gas-analyser-co", "spare"]


def test_a_coarse_gauge_of_the_right_kind_can_still_be_named(shelf):
    """Who used the coarser gauge can say so, below the one that was asked for."""
    assert ids(shelf, "fuel-pump-pressure")[:2] == ["fuel-gauge-low", "fuel-gauge"]


def test_a_compression_gauge_is_for_compression_alone(shelf):
    """No test but those of compression is offered the gauge for it, and those are offered none."""
    assert ids(shelf, "compression-dry") == ["compression-gauge"]
    for test in shelf.tests.values():
        for part in test.reading.parts if test.reading else ():
            found = [one.id for one in offered(test, part, shelf)]
            if part.instrument != "compression-gauge":
                assert "compression-gauge" not in found, test.id


def test_another_compression_gauge_can_be_named(shelf):
    """A second gauge for compression is offered where the first is, and not for fuel pressure."""
    spare = replace(
        shelf.instruments["compression-gauge"], id="spare", name="Compression gauge, the old one"
    )
    more = replace(shelf, instruments={**shelf.instruments, "spare": spare})
    assert ids(more, "compression-dry") == ["compression-gauge", "spare"]
    assert "spare" not in ids(more, "fuel-pressure-prime")
