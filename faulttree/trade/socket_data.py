"""Sums that turn the bytes of the standard diagnostic socket into readings (SAE J1979, mode 01).

`a` and `b` are the first and second data byte of the answer. Talking to the socket is no business
of this program; these are for whoever reads raw bytes off a reader.
"""

from __future__ import annotations

from faulttree.trade.registry import sum_of

J1979 = "SAE J1979 / ISO 15031-5, mode 01, parameter {} (second-hand)"
BYTE = (0.0, 255.0)
ONE: dict[str, str] = {"a": ""}
TWO: dict[str, str] = {"a": "", "b": ""}
WHOLE = "whole bytes"


@sum_of(
    name="socket-load",
    gives="%",
    inputs=ONE,
    formula="load = 100 * a / 255",
    valid=WHOLE,
    ranges={"a": BYTE},
    source=J1979.format("04"),
)
def socket_load(a: float) -> float:
    """Calculated load from its byte."""
    return 100 * a / 255


@sum_of(
    name="socket-coolant",
    gives="degC",
    inputs=ONE,
    formula="coolant temperature = a - 40",
    valid=WHOLE,
    ranges={"a": BYTE},
    source=J1979.format("05"),
)
def socket_coolant(a: float) -> float:
    """Coolant temperature from its byte."""
    return a - 40


@sum_of(
    name="socket-fuel-trim",
    gives="%",
    inputs=ONE,
    formula="fuel trim = 100 * (a - 128) / 128",
    valid=WHOLE,
    ranges={"a": BYTE},
    source=J1979.format("06 to 09"),
)
def socket_fuel_trim(a: float) -> float:
    """Short or long fuel trim from its byte."""
    return 100 * (a - 128) / 128


@sum_of(
    name="socket-manifold-pressure",
    gives="kPa",
    inputs=ONE,
    formula="manifold pressure = a",
    valid=WHOLE,
    ranges={"a": BYTE},
    source=J1979.format("0B"),
)
def socket_manifold_pressure(a: float) -> float:
    """Absolute manifold pressure from its byte."""
    return a


@sum_of(
    name="socket-engine-speed",
    gives="rpm",
    inputs=TWO,
    formula="engine speed = (256 * a + b) / 4",
    valid=WHOLE,
    ranges={"a": BYTE, "b": BYTE},
    source=J1979.format("0C"),
)
def socket_engine_speed(a: float, b: float) -> float:
    """Engine speed from its two bytes."""
    return (256 * a + b) / 4


@sum_of(
    name="socket-road-speed",
    gives="km/h",
    inputs=ONE,
    formula="road speed = a",
    valid=WHOLE,
    ranges={"a": BYTE},
    source=J1979.format("0D"),
)
def socket_road_speed(a: float) -> float:
    """Road speed from its byte."""
    return a


@sum_of(
    name="socket-advance",
    gives="deg",
    inputs=ONE,
    formula="advance = a / 2 - 64",
    valid=WHOLE,
    ranges={"a": BYTE},
    source=J1979.format("0E"),
)
def socket_advance(a: float) -> float:
    """Ignition advance of cylinder 1 from its byte."""
    return a / 2 - 64


@sum_of(
    name="socket-air-flow",
    gives="g/s",
    inputs=TWO,
    formula="air flow = (256 * a + b) / 100",
    valid=WHOLE,
    ranges={"a": BYTE, "b": BYTE},
    source=J1979.format("10"),
)
def socket_air_flow(a: float, b: float) -> float:
    """Air mass flow from its two bytes."""
    return (256 * a + b) / 100


@sum_of(
    name="socket-oxygen-sensor",
    gives="V",
    inputs=ONE,
    formula="oxygen sensor = a / 200",
    valid=WHOLE,
    ranges={"a": BYTE},
    source=J1979.format("14 to 1B"),
)
def socket_oxygen_sensor(a: float) -> float:
    """Volts of a switching oxygen sensor from their byte."""
    return a / 200


@sum_of(
    name="socket-supply",
    gives="V",
    inputs=TWO,
    formula="supply = (256 * a + b) / 1000",
    valid=WHOLE,
    ranges={"a": BYTE, "b": BYTE},
    source=J1979.format("42"),
)
def socket_supply(a: float, b: float) -> float:
    """Supply volts of the controller from their two bytes."""
    return (256 * a + b) / 1000
