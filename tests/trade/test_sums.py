"""The sums: look-up, workings, limits of validity, and checks against general libraries."""

import math

import numpy as np
import pytest
import scipy.interpolate
import scipy.optimize
from hypothesis import given
from hypothesis import strategies as st

from faulttree.trade.comparing import correct, instrument_correction
from faulttree.trade.cylinders import against_mean, low_cylinders
from faulttree.trade.electrics import battery_charge, sensor_curve
from faulttree.trade.measures import known
from faulttree.trade.registry import NOT_UNITS, SAME, SumError, sum_of
from faulttree.trade.road import Tyre, tyre_from_code
from faulttree.trade.sums import SUMS, get, read_inputs
from faulttree.trade.typed import ReadingError
from faulttree.trade.workings import evaluate

from .published import PUBLISHED

ROWS_OF_SUMS = [figure for figure in PUBLISHED if figure.what in SUMS]
ROWS_WITH_ARITHMETIC = [figure for figure in ROWS_OF_SUMS if SUMS[figure.what].arithmetic]
READINGS = st.lists(st.floats(1.0, 500.0), min_size=2, max_size=12)


@pytest.mark.parametrize("name", sorted(SUMS))
def test_every_sum_is_documented(name: str):
    """A sum says what it is for, its units, its formula, its limits and its source."""
    chosen = SUMS[name]
    assert chosen.name == name
    assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    assert chosen.about.endswith(".")
    for text in (chosen.formula, chosen.valid, chosen.source):
        assert text
    for unit in (chosen.gives, *chosen.inputs.values()):
        assert unit in NOT_UNITS or known(unit)
    assert set(chosen.optional) <= set(chosen.inputs)


@pytest.mark.parametrize("figure", [pytest.param(f, id=f.id) for f in ROWS_WITH_ARITHMETIC])
def test_formula_gives_what_the_function_gives(figure):
    """The formula that is shown, worked by itself, gives the result of the function."""
    chosen = get(figure.what)
    values = {**chosen.optional, **figure.inputs}
    for step in chosen.formula.splitlines():
        name, expression = (part.strip() for part in step.split("=", 1))
        values[name] = evaluate(expression, values)
    assert values[name] == pytest.approx(figure.result(), rel=1e-12, abs=1e-12)


def test_working_is_shown_line_by_line():
    """The working names the inputs, the formula, the numbers put in, and the result."""
    working = get("injector-pressure").work({"rail": 300.0, "vacuum": 60.955})
    assert working.lines == (
        "rail = 300 kPa",
        "vacuum = 60.955 kPa",
        "pressure across the injector = rail + vacuum",
        "                             = 300 + 60.955",
        "                             = 360.955 kPa",
    )
    assert (working.result, working.unit) == (360.955, "kPa")


def test_working_of_several_steps():
    """Each step is worked in turn, and a later one shows what an earlier one came to."""
    lines = get("tyre-circumference").work({"diameter": 631.9}).lines
    assert lines[1] == "factor = 3.05"
    lines = get("vacuum-at-altitude").work({"vacuum": 67.728, "altitude": 1500.0}).lines
    assert "         = 84.556" in lines
    assert lines[-2:] == (
        "             = 67.728 - (101.325 - 84.55599)",
        "             = 50.959 kPa",
    )


def test_working_over_cylinders_and_negative_numbers():
    """A list stands in the working as it was read, and a negative number in brackets."""
    lines = get("lowest-share").work({"values": (150.0, 148.0, 95.0, 151.0)}, "psi").lines
    assert lines == (
        "values = 150, 148, 95, 151 psi (each cylinder)",
        "lowest share = 100 × min(values) / max(values)",
        "             = 100 × min(150, 148, 95, 151) / max(150, 148, 95, 151)",
        "             = 62.9139 %",
    )
    lines = get("rise").work({"before": -3.0, "after": 2.0}, "%").lines
    assert lines[-2:] == ("     = 2 - (-3)", "     = 5 %")


def test_working_without_arithmetic():
    """A sum that is a rule shows the rule as a sentence, and only inputs that were given."""
    values = (150.0, 100.0, 95.0, 151.0)
    lines = get("neighbours-low").work({"values": values}, "psi").lines
    assert lines[0] == "values = 150, 100, 95, 151 psi (each cylinder)"
    assert lines[1] == "low_below = 0.75"
    assert lines[-1] == "result = 2"
    lines = get("neighbours-low").work({"values": values, "banks": ((1, 3), (2, 4))}).lines
    assert "banks = 1-3, 2-4" in lines
    assert lines[-1] == "result = 0"


@pytest.mark.parametrize(
    "expression",
    [
        "__import__('os')",
        "values.x",
        "lambda: 1",
        "[1, 2]",
        "rail if rail else 1",
        "'a' * 9",
        "open",
        "values[0]",
        "values + 1",
        "max(values, key=1)",
    ],
)
def test_the_evaluator_takes_arithmetic_only(expression: str):
    """Anything but numbers, known names and the few functions is refused."""
    with pytest.raises(ValueError, match="not"):
        evaluate(expression, {"rail": 1.0, "values": (1.0, 2.0)})


def test_the_evaluator_works_by_the_usual_rules():
    """Powers before products, products before sums, minus signs, brackets, pi and the functions."""
    values = {"rail": 2.0, "values": (1.0, 2.0, 6.0)}
    assert evaluate("1 + rail * 3 ^ rail", values) == 19.0
    assert evaluate("-rail ^ 2", values) == -4.0
    assert evaluate("(1 + rail) * pi", values) == pytest.approx(3 * math.pi, rel=1e-15)
    assert evaluate("mean(values) - median(values) + count(values)", values) == 4.0
    assert evaluate("sqrt(exp(ln(16)))", values) == pytest.approx(4.0, rel=1e-15)


@pytest.mark.parametrize("expression", ["values", "-values", "rail + banks", "missing"])
def test_the_evaluator_wants_numbers(expression: str):
    """A list where a number belongs, an input not given and an unknown name are refused."""
    with pytest.raises(ValueError, match="not"):
        evaluate(expression, {"rail": 1.0, "values": (1.0, 2.0), "banks": None})


def test_unknown_sum_is_met_with_the_nearest():
    """A slip in a name is met with the name that was meant."""
    with pytest.raises(SumError, match="Did you mean lowest-share"):
        get("lowest-shares")


@pytest.mark.parametrize(
    ("name", "inputs", "sentence"),
    [
        ("rise", {"befor": 1.0, "after": 2.0}, "no input 'befor'. Did you mean before"),
        ("rise", {"before": 1.0}, "still needs: after"),
        ("rise", {"before": math.nan, "after": 2.0}, "not a number"),
        ("mean", {"values": (1.0, math.inf)}, "values, place 2, is inf"),
        ("mean", {"values": ()}, "at least 1"),
        ("injector-pressure", {"rail": 3000.0, "vacuum": 60.0}, "holds from 0 to 1000 kPa"),
        ("lowest-share", {"values": (0.0, 0.0)}, "every reading is nought"),
        ("lowest-share", {"values": (-1.0, 2.0)}, "below nought"),
        ("highest-against-others", {"values": (5.0,)}, "at least 2"),
        ("weakest-drop", {"values": (810.0, 805.0), "all_firing": 800.0}, "did not slow down"),
        ("ratio", {"first": 1.0, "second": 0.0}, "nought"),
        ("share-lost", {"before": 0.0, "after": 0.0}, "above nought"),
        ("manifold-pressure", {"barometer": 90.0, "vacuum": 95.0}, "cannot be"),
        ("lambda-four-gas", {"co": 0.5, "co2": 5.0, "o2": 12.0, "hc": 80.0}, "diluted and void"),
        ("battery-charge", {"rest_volts": 14.2}, "holds from 0 to 13.2 V"),
        ("standard-pressure", {"altitude": 9000.0}, "holds from -500 to 5000 m"),
        ("divider-resistance", {"supply": 5.0, "pull_up": 2200.0, "volts": 5.0}, "open"),
        ("bank-low", {"values": (1.0, 2.0), "banks": ((1, 2),)}, "one bank"),
        ("bank-low", {"values": (1.0, 2.0), "banks": ((1,), (3,))}, "each of the 2 cylinders"),
        ("pull-gain", {"time_before": 9.0, "time_after": 8.0, "factor_after": 2.0}, "0.8 to 1.4"),
        ("neighbours-low", {"values": (1.0, 2.0), "banks": ((1, 3),)}, "each of the 2 cylinders"),
        ("followers-low", {"values": (1.0, 2.0), "firing_order": (1, 1)}, "firing order"),
        (
            "instrument-correction",
            {"shown": 1.0, "shown_points": (1.0, 1.0), "true_points": (1.0, 2.0)},
            "same shown value",
        ),
        (
            "instrument-correction",
            {"shown": 1.0, "shown_points": (), "true_points": ()},
            "at least one point",
        ),
        (
            "sensor-beta",
            {"temperature_1": 5.0, "resistance_1": 9.0, "temperature_2": 5.0, "resistance_2": 8.0},
            "one temperature",
        ),
        (
            "clutch-slip",
            {"speed": 500.0, "road_speed": 100.0, "circumference": 1.9, "final_drive": 4.0},
            "Check the gear",
        ),
    ],
)
def test_what_a_sum_is_not_good_for_is_refused(name: str, inputs, sentence: str):
    """Inputs that are wrong, missing or outside the sum's validity are refused with the reason."""
    with pytest.raises(SumError) as caught:
        get(name).apply(inputs)
    assert sentence in str(caught.value)


@pytest.mark.parametrize("name", sorted(n for n, s in SUMS.items() if s.ranges))
def test_ranges_are_checked_at_both_ends(name: str):
    """Every declared limit is checked from below and above, and said in the sum's validity."""
    chosen = SUMS[name]
    row = next(figure for figure in ROWS_OF_SUMS if figure.what == name)
    for parameter, (low, high) in chosen.ranges.items():
        assert parameter in chosen.valid
        for outside in (low - 0.01 * (1 + abs(low)), high + 0.01 * (1 + abs(high))):
            with pytest.raises(SumError, match=rf"{parameter} is .* holds from"):
                chosen.apply({**chosen.optional, **row.inputs, parameter: outside})


def test_units_for_converts_fellows_to_the_first():
    """Readings that may have any unit are all taken in the unit of the first, as is the result."""
    assert get("rise").units_for({"before": "kPa", "after": "PSI"}) == (
        {"before": "kPa", "after": "kPa"},
        "kPa",
    )
    assert get("lowest-share").units_for({"values": "psi"}) == ({"values": "psi"}, "%")
    assert get("injector-pressure").units_for({"rail": "psi", "vacuum": "inHg"}) == (
        {"rail": "kPa", "vacuum": "kPa"},
        "kPa",
    )


@pytest.mark.parametrize(
    ("name", "given_units", "sentence"),
    [
        ("rise", {"before": "kPa", "after": "rpm"}, "kPa, as before is,"),
        ("injector-pressure", {"rail": "rpm", "vacuum": "inHg"}, "must be in kPa"),
        ("injector-pressure", {"rail": "psii", "vacuum": "inHg"}, "'psii'"),
        ("rise", {"before": "psii", "after": "kPa"}, "'psii'"),
        ("injector-pressure", {"rail": "psi"}, "still needs: vacuum"),
        ("injector-pressure", {"rail": "psi", "vacum": "inHg"}, "Did you mean vacuum"),
        ("lambda-four-gas", {"co": "%", "co2": "%", "o2": "%", "hc": "V"}, "must be in ppm"),
    ],
)
def test_units_that_do_not_fit_are_refused(name: str, given_units, sentence: str):
    """A reading in a unit that the sum cannot take is refused before anything is read."""
    with pytest.raises(SumError) as caught:
        get(name).units_for(given_units)
    assert sentence in str(caught.value)


def test_inputs_are_read_from_text():
    """Typed inputs come out in the units of the sum."""
    inputs, unit = read_inputs(get("injector-pressure"), {"rail": "3 bar", "vacuum": "18 inHg"})
    assert inputs == pytest.approx({"rail": 300.0, "vacuum": 60.955}, rel=1e-6)
    assert unit == ""
    inputs, unit = read_inputs(get("rise"), {"before": "34", "after": "41 psi"})
    assert (inputs, unit) == ({"before": 34.0, "after": 41.0}, "psi")
    inputs, unit = read_inputs(get("rise"), {"before": "300 kPa", "after": "3,5 bar"})
    assert (inputs, unit) == (pytest.approx({"before": 300.0, "after": 350.0}), "kPa")
    inputs, unit = read_inputs(
        get("followers-low"), {"values": "150,148,95,100 psi", "firing_order": "1-3-4-2"}
    )
    assert inputs == {"values": (150.0, 148.0, 95.0, 100.0), "firing_order": (1, 3, 4, 2)}
    assert unit == "psi"
    inputs, _ = read_inputs(get("bank-low"), {"values": "1 2 3 4", "banks": "1,3; 2,4"})
    assert inputs["banks"] == ((1, 3), (2, 4))


def test_a_thousands_comma_in_a_sum_is_read_by_its_limits():
    """The limits of the sum settle what a comma means."""
    inputs, _ = read_inputs(get("standard-pressure"), {"altitude": "1,500 m"})
    assert inputs == {"altitude": 1500.0}
    inputs, _ = read_inputs(get("lead-resistance"), {"resistance": "15", "length": "1,250 m"})
    assert inputs["length"] == 1.25


@pytest.mark.parametrize(
    ("name", "texts", "error"),
    [
        ("rise", {"before": "34", "afer": "41"}, SumError),
        ("rise", {"before": "34"}, SumError),
        ("rise", {"before": "34 psi", "after": "41 rpm"}, SumError),
        ("injector-pressure", {"rail": "9**9**9", "vacuum": "1"}, ReadingError),
        ("followers-low", {"values": "1 2", "firing_order": "1-x"}, SumError),
        ("followers-low", {"values": "1 2", "firing_order": "1-" * 500}, SumError),
    ],
)
def test_text_that_cannot_be_read_is_refused(name: str, texts, error):
    """Wrong names, missing inputs, unlike units and no numbers at all are refused."""
    with pytest.raises(error):
        read_inputs(get(name), texts)


def test_a_sum_that_does_not_fit_its_function_is_not_entered():
    """Inputs that are not the function's own are an error when the sum is entered."""
    with pytest.raises(TypeError, match="do not fit"):

        @sum_of(name="no-such", gives=SAME, inputs={"x": SAME}, formula="y = x", source="none")
        def wrong(y: float) -> float:
            """Nothing."""
            return y

    assert "no-such" not in SUMS


@given(st.floats(0.0, 8000.0))
def test_correction_agrees_with_numpy_between_the_points(shown: float):
    """Between the points the correction is numpy's linear interpolation."""
    points = [(700.0, 650.0), (1050.0, 1000.0), (3090.0, 3000.0), (6200.0, 6000.0)]
    shown_points, true_points = zip(*points, strict=True)
    if 700.0 <= shown <= 6200.0:
        expected = np.interp(shown, shown_points, true_points)
        assert correct(shown, points) == pytest.approx(expected, rel=1e-12)
    else:
        # Beyond them the error of the nearest point is kept.
        error = -50.0 if shown < 700.0 else -200.0
        assert correct(shown, points) == pytest.approx(shown + error, rel=1e-12)


@given(st.floats(-100.0, 100.0), st.floats(-10.0, 10.0), st.floats(-200.0, 200.0))
def test_one_point_shifts_everything(at: float, error: float, shown: float):
    """With a single point its error holds everywhere, and without any nothing is changed."""
    found = instrument_correction(shown, (at + error,), (at,))
    assert found == pytest.approx(shown - error, abs=1e-9)
    assert correct(shown, ()) == shown


@given(st.permutations([(700.0, 650.0), (1050.0, 1000.0), (3090.0, 3000.0)]))
def test_points_may_come_in_any_order(points):
    """The order in which points are written does not matter."""
    assert correct(2000.0, points) == pytest.approx(correct(2000.0, sorted(points)), rel=1e-12)


def test_sensor_curve_agrees_with_solving_the_equations():
    """The three constants are those that numpy finds for the three equations."""
    points = ((-20.0, 15000.0), (25.0, 2000.0), (100.0, 180.0))
    logs = np.log([r for _, r in points])
    matrix = np.column_stack([np.ones(3), logs, logs**3])
    expected = np.linalg.solve(matrix, [1 / (t + 273.15) for t, _ in points])
    curve = sensor_curve(points)
    assert [curve.a, curve.b, curve.c] == pytest.approx(list(expected), rel=1e-9)


@given(st.floats(-30.0, 130.0))
def test_sensor_curve_there_and_back(temperature: float):
    """The resistance at a temperature gives the temperature back, and is the root scipy finds."""
    curve = sensor_curve(((0.0, 5900.0), (40.0, 1180.0), (90.0, 240.0)))
    resistance = curve.resistance(temperature)
    assert curve.temperature(resistance) == pytest.approx(temperature, abs=1e-7)
    root = scipy.optimize.brentq(lambda r: curve.temperature(r) - temperature, 10.0, 1e6, xtol=1e-9)
    assert resistance == pytest.approx(root, rel=1e-7)


@pytest.mark.parametrize(
    "points",
    [
        ((0.0, 5900.0), (40.0, 1180.0)),
        ((0.0, 5900.0), (0.0, 1180.0), (90.0, 240.0)),
        ((0.0, 5900.0), (40.0, 5900.0), (90.0, 240.0)),
        ((0.0, -1.0), (40.0, 1180.0), (90.0, 240.0)),
    ],
)
def test_a_sensor_curve_needs_three_points(points):
    """Points that do not fix a curve are refused."""
    with pytest.raises(SumError, match="three points"):
        sensor_curve(points)


@given(st.floats(-60.0, 200.0), st.floats(1000.0, 6000.0), st.floats(10.0, 1e5))
def test_beta_there_and_back(temperature: float, beta: float, resistance_25: float):
    """Resistance from temperature and temperature from resistance undo each other."""
    try:
        resistance = get("sensor-resistance").apply(
            {"resistance_25": resistance_25, "beta": beta, "temperature": temperature}
        )
        back = get("sensor-temperature").apply(
            {"resistance": resistance, "resistance_25": resistance_25, "beta": beta}
        )
    except SumError as error:
        # Beyond a resistance that any sensor has, the sum says so.
        if "holds from" not in str(error):
            raise
        return
    assert back == pytest.approx(temperature, abs=1e-6)


@given(st.floats(11.0, 13.2))
def test_battery_charge_agrees_with_scipy(volts: float):
    """Between the lines of the table the charge is scipy's linear interpolation."""
    table = scipy.interpolate.interp1d(
        [11.0, 11.7, 12.0, 12.2, 12.4, 12.6, 13.2], [0, 0, 25, 50, 75, 100, 100]
    )
    assert battery_charge(volts) == pytest.approx(float(table(volts)), abs=1e-9)


@given(st.floats(0.1, 100.0), st.floats(-40.0, 150.0), st.floats(-40.0, 150.0))
def test_copper_there_and_back(resistance: float, one: float, other: float):
    """Taking a winding to another temperature and back changes nothing."""
    work = get("copper-resistance").function
    assert work(work(resistance, one, other), other, one) == pytest.approx(resistance, rel=1e-12)


@given(READINGS, st.floats(0.01, 100.0))
def test_shares_do_not_depend_on_the_unit(values: list[float], factor: float):
    """Readings in another unit of pressure give the same shares."""
    scaled = [factor * value for value in values]
    for name in ("lowest-share", "lowest-against-mean", "largest-deviation", "low-count"):
        assert get(name).function(scaled) == pytest.approx(get(name).function(values), rel=1e-9)


@given(READINGS)
def test_cylinder_sums_agree_with_numpy(values: list[float]):
    """Mean, range, and the shares of the mean are numpy's."""
    array = np.array(values)
    assert get("mean").function(values) == pytest.approx(array.mean(), rel=1e-12)
    assert get("range").function(values) == pytest.approx(np.ptp(array), abs=1e-9)
    assert against_mean(values) == pytest.approx(list(100 * array / array.mean()), rel=1e-12)
    worst = 100 * np.abs(array - array.mean()).max() / array.mean()
    assert get("largest-deviation").function(values) == pytest.approx(worst, abs=1e-9)


@given(st.permutations([1, 2, 3, 4, 5, 6]), READINGS.filter(lambda v: len(v) == 6))
def test_neighbours_and_followers_count_cylinders_in_pairs(order, values):
    """Counted are the low ones that have a low fellow next to them, whatever the order."""
    low = set(low_cylinders(values, 0.75))
    line = [order[0] in low and order[1] in low] + [
        order[i] in low and (order[i - 1] in low or (i < 5 and order[i + 1] in low))
        for i in range(1, 6)
    ]
    assert get("neighbours-low").function(values, [order]) == sum(line)
    ring = [
        order[i] in low and (order[i - 1] in low or order[(i + 1) % 6] in low) for i in range(6)
    ]
    assert get("followers-low").function(values, order) == sum(ring)


def test_low_against_the_mean_or_the_highest():
    """Which cylinders are low depends on what they are held against."""
    values = (150.0, 100.0, 60.0, 150.0)
    assert low_cylinders(values, 0.75) == (2, 3)
    assert low_cylinders(values, 0.75, "mean") == (3,)
    # Just on the limit is not below it.
    assert low_cylinders((160.0, 120.0), 0.75) == ()


@pytest.mark.parametrize(
    ("code", "tyre"),
    [
        ("205/55R16", Tyre(205, 55, 16)),
        ("205/55 R16 91V", Tyre(205, 55, 16)),
        ("P195/65 R15", Tyre(195, 65, 15)),
        ("185/70-14", Tyre(185, 70, 14)),
        ("225/45ZR17", Tyre(225, 45, 17)),
    ],
)
def test_tyre_codes(code: str, tyre: Tyre):
    """Tyre codes as they stand on a side wall are read."""
    assert tyre_from_code(code) == tyre


@pytest.mark.parametrize("code", ["", "165R13", "205/55", "٢٠٥/55R16", "205/55R16" * 50, "9**9"])
def test_what_is_no_tyre_code(code: str):
    """What is no tyre code is refused."""
    with pytest.raises(SumError, match="not a tyre code"):
        tyre_from_code(code)


@given(st.floats(0.0, 4000.0), st.floats(50.0, 100.0), st.floats(100.0, 2000.0))
def test_altitude_corrections_undo_each_other(altitude: float, vacuum: float, compression: float):
    """Taking a vacuum or a compression up a mountain and down again changes nothing."""
    up = get("vacuum-at-altitude").function(vacuum, altitude)
    assert get("vacuum-at-sea-level").function(up, altitude) == pytest.approx(vacuum, rel=1e-12)
    up = get("compression-at-altitude").function(compression, altitude)
    back = get("compression-at-sea-level").function(up, altitude)
    assert back == pytest.approx(compression, rel=1e-12)


@given(st.floats(1.0, 15.0), st.floats(0.5, 5.0), st.floats(0.0, 3000.0))
def test_lambda_rises_with_oxygen_and_falls_with_hydrocarbons(co2: float, o2: float, hc: float):
    """More oxygen in the exhaust is leaner, more unburnt fuel richer."""
    work = get("lambda-four-gas").function
    co2 = max(co2, 6.0)
    assert work(0.5, co2, o2 + 0.1, hc) > work(0.5, co2, o2, hc)
    assert work(0.5, co2, o2, hc + 100) < work(0.5, co2, o2, hc)


@given(st.integers(0, 255), st.integers(0, 255))
def test_socket_bytes_step_evenly(a: int, b: int):
    """Two-byte values are one number, so the low byte's overflow is the high byte's step."""
    speed = get("socket-engine-speed").function
    if b == 255 and a < 255:
        assert speed(a + 1, 0) - speed(a, b) == pytest.approx(0.25)
    elif b < 255:
        assert speed(a, b + 1) - speed(a, b) == pytest.approx(0.25)
