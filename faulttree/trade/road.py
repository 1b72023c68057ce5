"""Sums of the road: tyres, gearing, and what they say about a rev counter or a clutch."""

from __future__ import annotations

import re
from dataclasses import dataclass

from faulttree.trade.registry import SumError, need, sum_of
from faulttree.trade.words import quoted

CIRCUMFERENCE = (0.8, 4.0)
GEAR = (0.3, 10.0)
GEOMETRY = "derived: wheel speed is engine speed over gear times final drive"
_TYRE_CODE = re.compile(
    r"(?:P|LT)?\s*([0-9]{3})\s*/\s*([0-9]{2})\s*(?:Z?R|-|D|B)\s*([0-9]{2})(?:\s.*)?", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Tyre:
    """A tyre by its code: width in mm, height of the side wall in % of it, rim in inches."""

    width: float
    aspect: float
    rim: float


def tyre_from_code(code: str) -> Tyre:
    """Read a tyre code such as `205/55 R16`. Raises SumError when it is none."""
    found = _TYRE_CODE.fullmatch(code.strip()) if len(code) <= 40 and code.isascii() else None
    if found is None:
        raise SumError(
            f"{quoted(code)} is not a tyre code. Write width, aspect and rim as on the side wall: "
            "205/55 R16. A tyre without an aspect figure is near 80."
        )
    width, aspect, rim = (float(figure) for figure in found.groups())
    return Tyre(width, aspect, rim)


@sum_of(
    name="tyre-diameter",
    gives="mm",
    inputs={"width": "mm", "aspect": "%", "rim": "in"},
    formula="diameter = 25.4 * rim + 2 * width * aspect / 100",
    valid="a new tyre, not loaded",
    ranges={"width": (100, 400), "aspect": (20, 100), "rim": (8, 26)},
    source="the tyre code of ISO 4000-1 (from memory)",
)
def tyre_diameter(width: float, aspect: float, rim: float) -> float:
    """Diameter of a tyre from its code."""
    return 25.4 * rim + 2 * width * aspect / 100


@sum_of(
    name="tyre-circumference",
    gives="m",
    inputs={"diameter": "mm", "factor": ""},
    formula="circumference = factor * diameter / 1000",
    valid="3.05 for the rolling circumference of a radial tyre; 3.14159 for the bare geometry",
    ranges={"diameter": (300, 1200), "factor": (2.9, 3.15)},
    source="rolling factor 3.05: ETRTO (from memory)",
)
def tyre_circumference(diameter: float, factor: float = 3.05) -> float:
    """Distance a tyre rolls in one turn."""
    return factor * diameter / 1000


@sum_of(
    name="road-speed",
    gives="km/h",
    inputs={"speed": "rpm", "circumference": "m", "final_drive": "", "gear": ""},
    formula="road speed = speed / (gear * final_drive) * circumference * 60 / 1000",
    valid="no slip",
    ranges={
        "speed": (0, 12000),
        "circumference": CIRCUMFERENCE,
        "final_drive": GEAR,
        "gear": GEAR,
    },
    source=GEOMETRY,
)
def road_speed(speed: float, circumference: float, final_drive: float, gear: float = 1.0) -> float:
    """Road speed at an engine speed."""
    return speed / (gear * final_drive) * circumference * 60 / 1000


@sum_of(
    name="speed-per-1000",
    gives="km/h",
    inputs={"circumference": "m", "final_drive": "", "gear": ""},
    formula="speed per 1000 rpm = 1000 / (gear * final_drive) * circumference * 60 / 1000",
    valid="no slip",
    ranges={"circumference": CIRCUMFERENCE, "final_drive": GEAR, "gear": GEAR},
    source=GEOMETRY,
)
def speed_per_1000(circumference: float, final_drive: float, gear: float = 1.0) -> float:
    """Road speed for each 1000 rpm of the engine."""
    return road_speed(1000, circumference, final_drive, gear)


@sum_of(
    name="engine-speed",
    gives="rpm",
    inputs={"road_speed": "km/h", "circumference": "m", "final_drive": "", "gear": ""},
    formula="engine speed = road_speed * 1000 / 60 / circumference * gear * final_drive",
    valid="no slip; a true road speed, not the one on the dashboard",
    ranges={
        "road_speed": (0, 400),
        "circumference": CIRCUMFERENCE,
        "final_drive": GEAR,
        "gear": GEAR,
    },
    source=GEOMETRY,
)
def engine_speed(
    road_speed: float, circumference: float, final_drive: float, gear: float = 1.0
) -> float:
    """Engine speed that belongs to a road speed, to unmask a rev counter that is out."""
    return road_speed * 1000 / 60 / circumference * gear * final_drive


@sum_of(
    name="clutch-slip",
    gives="%",
    inputs={
        "speed": "rpm",
        "road_speed": "km/h",
        "circumference": "m",
        "final_drive": "",
        "gear": "",
    },
    formula=(
        "geared = road_speed * 1000 / 60 / circumference * gear * final_drive\n"
        "slip = 100 * (speed - geared) / speed"
    ),
    valid=(
        "true engine and road speeds; a rev counter or tyre figure 3 % out looks like 3 % of slip, "
        "so compare with a light load"
    ),
    ranges={
        "speed": (100, 12000),
        "road_speed": (1, 400),
        "circumference": CIRCUMFERENCE,
        "final_drive": GEAR,
        "gear": GEAR,
    },
    source=GEOMETRY,
)
def clutch_slip(
    speed: float, road_speed: float, circumference: float, final_drive: float, gear: float = 1.0
) -> float:
    """How much of the engine speed is lost in the clutch or converter."""
    geared = engine_speed(road_speed, circumference, final_drive, gear)
    need(
        geared < 1.5 * speed,
        "clutch-slip: the wheels turn far faster than the engine could. Check the gear and tyres.",
    )
    return 100 * (speed - geared) / speed
