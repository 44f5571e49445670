"""Formulas of docstrings are what the code does; a scenario worked through is what a run uses.

Each formula is worked out by `tests.formulas`, which knows nothing of the code, and compared with
the function at drawn arguments.  A sign or a factor that changes in one of the two is seen.
"""

import ast
import inspect
import math
import zlib

import numpy as np
import pytest

from metersim.machine.airline import chamber_vacuum
from metersim.machine.moment import Moment
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.stations import stations_of
from metersim.questions.explain.study import explain
from metersim.questions.list.command import all_equations
from metersim.questions.list.equations import (
    equation_of,
    equations,
    functions_of,
    station_names,
    worked,
)
from tests.formulas import CHOICE, CONSTANTS, FUNCTIONS, Formula, tree_of

EQUATIONS = {
    f"{station}.{function.__name__}": function
    for station in station_names()
    for function in functions_of(station)
}
SAMPLES = 60
EDGES = 0.2  # share of arguments that are an edge, when there is one
CLOSE = 1e-12  # relative
ZERO = 1e-15  # of the greatest result, where one is zero
TABLE = 1e-5  # of a function that reads its result from a table: error of its formula's left side
# formulas that are not solved for the function's own name: they hold with its result put in
IMPLICIT = {"release.closing_travel", "air.fan_share"}

# least, greatest and edges of every parameter
RANGES = {
    "above": (-0.001, 0.001, 0.0),
    "acceleration": (0.1, 20.0, 0.0),
    "across": (-0.005, 0.005, 0.0),
    "across_face": (0.001, 0.012),
    "after": (0.5, 4.0, 0.0),
    "agent_friction": (0.6, 1.0, 1.0),
    "agitation": (0.0, 1.0, 0.0, 1.0),
    "agitation_gain": (1.5, 4.0, 1.0),
    "air_density": (1.0, 1.3),
    "along": (-0.005, 0.005, 0.0),
    "altitude": (-400.0, 5000.0, 0.0),
    "angle": (0.01, 20.0),
    "angular_speed": (0.5, 6.0),
    "apart": (0.05, 2.0),
    "arc": (0.0, 0.1, 0.0),
    "area": (0.0, 0.05, 0.0),
    "aside": (-0.3, 0.3, 0.0),
    "avalanche_angle": (0.02, 0.2),
    "beam_height": (0.0, 0.01, 0.0),
    "before": (0.5, 4.0, 0.0),
    "bore": (0.01, 0.3),
    "belt_ratio": (0.5, 1.5),
    "belt_speed": (0.5, 5.0),
    "bulk_density": (500.0, 900.0),
    "carry_line": (0.02, 0.12),
    "cells": (10.0, 80.0, 1.0),
    "cells_per_second": (1.0, 60.0, 0.0),
    "centrifugal": (0.0, 0.6, 0.0),
    "centroid": (0.001, 0.006),
    "chamber_width": (0.1, 0.5),
    "chamber_open": (0.0, 1.0, 0.0, 1.0),
    "chance": (0.05, 1.0, 1.0),
    "chipped": (0.0, 1.0, 0.0, 1.0),
    "chipped_rim": (0.1, 0.8),
    "circle_radius": (0.06, 0.13),
    "clear_flow": (0.0, 0.02, 0.0),
    "conductance": (0.0, 0.02, 0.0),
    "classes_off": (0.0, 2.0, 0.0, 1.0),
    "clearance": (0.002, 0.008, 0.0),
    "compartment_scatter": (0.001, 0.025),
    "contact_damping": (0.1, 1.0, 1.0),
    "contacts": (0.0, 4.0, 0.0),
    "crowding_pitch": (0.5, 3.0),
    "crowding_power": (2.0, 12.0),
    "curvature": (0.0, 0.8, 0.0),
    "curvature_contacts": (0.0, 2.0, 0.0),
    "curve_power": (0.5, 6.0, 2.0),
    "damp_avalanche": (0.5, 4.0),
    "damp_friction": (0.1, 0.8),
    "damp_slowness": (0.3, 3.0),
    "damp_span": (0.3, 3.0),
    "dampness": (0.0, 1.0, 0.0, 1.0),
    "decay_arc": (0.0, 0.03, 0.0),
    "deflection": (0.0, 1.0, 0.0),
    "depth_power": (0.1, 2.0),
    "detection": (0.3, 1.0, 1.0),
    "deviate": (-3.0, 3.0, 0.0),
    "direction": (-3.0, 3.0, 0.0),
    "discharge": (0.5, 0.8),
    "draw_power": (0.3, 1.5),
    "droop": (0.0, 0.6, 0.0),
    "dust": (0.0, 0.5, 0.0),
    "edge_recession": (0.0002, 0.003),
    "dry_angle": (0.2, 0.9),
    "drying": (0.1, 0.9, 0.0),
    "edge_speed": (-1.0, 1.0),
    "end_speed": (0.5, 4.0),
    "excess": (0.0, 0.1, 0.0),
    "exit_zone": (2.0, 8.0),
    "fall_time": (0.05, 0.5, 0.0),
    "fan_speed": (0.1, 1.5),
    "fittings": (0.0, 5.0, 0.0),
    "flow": (0.0, 0.5, 0.0),
    "fill_friction": (1.0, 3.0),
    "free": (0.1, 1.0, 1.0),
    "free_flow": (0.1, 1.0),
    "friction": (0.005, 0.6),
    "force": (0.0, 50.0, 0.0),
    "full_level": (0.004, 0.1),
    "gain": (0.0, 5.0, 0.0),
    "gap": (-0.001, 0.006, 0.0),
    "gap_leak": (0.0, 0.0005, 0.0),
    "gate_opening": (0.01, 0.08, 0.0),
    "gauge_error": (-0.5, 0.5, 0.0),
    "gmd": (0.001, 0.012),
    "gravity": (9.7, 9.9),
    "ground_speed": (0.5, 5.0, 0.0),
    "hardest": (0.3, 0.9),
    "height": (0.05, 0.8, 0.0),
    "hold_spread": (0.1, 0.9, 0.0),
    "hole_diameter": (0.001, 0.006),
    "hole_power": (1.0, 6.0),
    "hole_spread": (0.0, 0.5, 0.0),
    "holes": (0.0, 30.0, 0.0),
    "idle_current": (0.0, 2.0, 0.0),
    "hours": (0.0, 24.0, 0.0),
    "impact_speed": (0.5, 4.0, 0.0),
    "in_pool": (0.0, 15.0, 0.0),
    "inner": (0.001, 0.01),
    "inner_gap": (0.0005, 0.004),
    "knock": (0.0, 0.5, 0.0),
    "landing_scatter": (0.0, 0.02, 0.0),
    "later": (0.01, 3.0),
    "launch_change": (-0.1, 0.1, 0.0),
    "launch_speed": (0.1, 1.5, 0.0),
    "leak": (0.0, 0.001, 0.0),
    "leak_in_pool": (0.1, 1.0),
    "leak_of_seated": (0.01, 0.4),
    "length": (0.002, 0.015),
    "level": (-0.01, 0.1, 0.0, 0.3, 0.001, 0.002, 0.003),
    "line_loss": (0.05, 1.0),
    "lip": (0.0, 0.001, 0.0),
    "lip_width": (0.0005, 0.006),
    "load": (0.0, 3.0, 0.0, 1.0),
    "load_sd": (0.1, 1.0, 0.0),
    "loading": (0.0, 3.0, 0.0, 20.0),
    "loosening": (0.01, 2.0),
    "loss": (0.0, 3.0, 0.0),
    "loss_power": (0.2, 2.0),
    "lost": (0.0, 1.0, 0.0),
    "lowering": (0.0, 0.5, 0.0),
    "margin": (-3.0, 3.0, 0.0),
    "mean_gap": (-0.001, 0.002, 0.0),
    "middle": (0.05, 0.6),
    "most_covered": (0.1, 0.5),
    "narrow_rate": (0.01, 2.0),
    "needed": (100.0, 6000.0),
    "notch": (-3.0, 3.0, 0.0),
    "notch_step": (0.0001, 0.0005),
    "open_chamber": (0.01, 0.15),
    "open_flow": (0.01, 0.2, 0.0),
    "opening": (0.002, 0.05),
    "orifice_dead_zone": (1.0, 2.0),
    "outer": (0.001, 0.01),
    "outward": (-0.006, 0.006, 0.0),
    "own": (0.00005, 0.0005),
    "part": (0.0, 0.5, 0.0),
    "peripheral_speed": (0.05, 0.8),
    "phase_after": (0.0, 1.0, 0.0),
    "phase_before": (0.0, 1.0, 0.0),
    "pitch": (0.01, 0.05),
    "pool_depth": (0.005, 0.1),
    "pool_width": (0.02, 0.3),
    "pose": (-3.0, 3.0, 0.0),
    "push": (-0.002, 0.005, 0.0),
    "push_spread": (0.1, 0.6),
    "radius": (0.001, 0.006),
    "ramp": (0.1, 3.0, 0.0),
    "rank": (0.01, 0.99),
    "rate": (3.0, 80.0),
    "rated_current": (1.0, 20.0),
    "reach": (0.001, 0.006),
    "rearward_speed": (0.0, 3.0, 0.0),
    "relative_friction": (0.6, 1.8, 1.0),
    "resistance": (0.0, 6.0, 0.0),
    "resistance_cv": (0.1, 1.5, 0.0),
    "rest_angle": (0.2, 1.5),
    "restitution": (0.0, 0.5, 0.0),
    "rim": (0.1, 1.0, 1.0),
    "ripple": (0.0, 0.3, 0.0),
    "ripples_per_turn": (1.0, 12.0, 1.0),
    "rough": (0.1, 4.0),
    "row_spacing": (0.15, 1.0),
    "run_out": (0.0, 0.4, 0.0),
    "running_gap": (0.0001, 0.002),
    "seal": (0.2, 1.0),
    "seal_leak": (0.0, 0.0005, 0.0),
    "seal_spread": (0.0, 0.5, 0.0),
    "seal_wear": (0.0, 1.0, 0.0, 1.0),
    "seat_push": (0.1, 0.8),
    "seated": (0.0, 30.0, 0.0),
    "seconds": (0.05, 5.0),
    "seconds_friction": (1.5, 5.0),
    "seconds_knee": (2.0, 40.0),
    "seconds_power": (0.2, 2.0),
    "seed_mass": (5e-6, 5e-4),
    "share": (0.0, 1.0, 0.0, 1.0, -0.5, 1.5),
    "shock": (0.5, 3.0, 1.0),
    "shock_per_speed": (0.5, 5.0, 0.0),
    "shut_off": (1000.0, 20000.0),
    "side_outlet": (0.37, 0.5),
    "sidehill": (-0.4, 0.4, 0.0),
    "sideways": (-0.9, 0.9, 0.0, 1.1, -2.0),
    "sideways_speed": (-0.5, 0.5, 0.0),
    "size_cv": (0.0, 0.2, 0.0),
    "slip": (0.0, 0.4, 0.0),
    "slope": (0.1, 1.0),
    "slope_loss": (0.1, 2.0, 0.0),
    "slowing": (1.0, 2.0, 1.0),
    "slowness": (0.5, 5.0),
    "spacing": (0.02, 0.3),
    "speed": (0.5, 5.0),
    "sphericity": (0.3, 1.0),
    "spread": (0.2, 1.2),
    "square_loss": (0.0, 20000.0, 0.0),
    "stand": (0.01, 1.0),
    "standard_density": (1.1, 1.3),
    "stated_arc": (0.0, 0.52, 0.0),
    "steepness": (0.5, 4.0),
    "step": (0.0, 1.0, 0.0),
    "stiffness": (20000.0, 1000000.0),
    "sticky": (0.0, 1.0, 0.0, 1.0),
    "strength": (0.01, 5.0, 0.0),
    "teeth": (1.0, 8.0, 1.0),
    "temperature": (243.0, 333.0),
    "terminal_velocity": (2.0, 14.0),
    "thickness": (0.001, 0.008),
    "thin_bed": (0.05, 2.0),
    "tilt_follow": (0.2, 1.0),
    "time": (0.0, 2.0, 0.0),
    "touching": (0.0, 1.0, 0.0, 1.0),
    "trickle": (0.005, 0.5),
    "turn": (0.0, 1.0, 0.0),
    "uncovered": (0.0, 10.0, 0.0),
    "uneven_teeth": (0.1, 2.0),
    "unseating": (0.0005, 0.004),
    "uphill": (-0.4, 0.4, 0.0),
    "vacuum": (500.0, 8000.0, 0.0),
    "vacuum_ratio": (0.0, 8.0, 0.0),
    "volume": (0.0, 0.001, 0.0),
    "wear": (0.0, 1.0, 0.0, 1.0),
    "wear_contacts": (0.1, 3.0),
    "width": (0.001, 0.012, 0.3),
    "worn_leak": (0.0, 0.001, 0.0),
    "wobble": (0.0, 0.001, 0.0),
    "worn": (0.0, 1.0, 0.0, 1.0),
    "worn_arc": (0.03, 0.35),
    "worn_rim": (0.4, 0.95),
    "worn_seal": (0.1, 0.7),
    "wrong_arc": (0.02, 0.17),
    "wrong_side_seal": (0.2, 0.9),
    "wrong_way": (0.0, 1.0, 0.0, 1.0),
    "zone": (0.0, 8.0, 0.0),
}


def parameters_of(function):
    """Names of a function's parameters, in order."""
    return tuple(inspect.signature(function).parameters)


FORMULAS = {
    key: Formula(equation_of(function).formula, parameters_of(function))
    for key, function in EQUATIONS.items()
}
BY_NAME = {formula.left.id: formula for key, formula in FORMULAS.items() if key not in IMPLICIT}


def samples(key):
    """Arguments drawn from the ranges, the same in every run, some of them edges."""
    rng = np.random.default_rng(zlib.crc32(key.encode()))
    for _ in range(SAMPLES):
        drawn = {}
        for name in parameters_of(EQUATIONS[key]):
            low, high, *edges = RANGES[name]
            drawn[name] = float(rng.uniform(low, high))
            if edges and rng.random() < EDGES:
                drawn[name] = float(rng.choice(edges))
        yield drawn


ARGUMENTS = {key: list(samples(key)) for key in EQUATIONS}
RESULTS = {
    key: [float(function(**drawn)) for drawn in ARGUMENTS[key]]
    for key, function in EQUATIONS.items()
}


def misfit(key, formula):
    """Greatest distance of a formula from its function, over what rounding allows."""
    scale = max(map(abs, RESULTS[key]))
    worst = 0.0
    for drawn, result in zip(ARGUMENTS[key], RESULTS[key], strict=True):
        try:
            if key in IMPLICIT:
                known = {**drawn, key.partition(".")[2]: result}
                wanted = formula.value(known, BY_NAME, formula.left)
                off = abs(formula.value(known, BY_NAME) - wanted) / TABLE
            else:
                allowed = max(CLOSE * abs(result), ZERO * scale)
                off = abs(formula.value(drawn, BY_NAME) - result) / allowed
        except (ArithmeticError, ValueError, TypeError):
            return math.inf
        worst = max(worst, off if math.isfinite(off) else math.inf)
    return worst


def other_numbers(node):
    """A number changed by a fifth; a zero by something of the size of a seed."""
    if isinstance(node, ast.Constant):
        yield ast.Constant(node.value * 1.2 if node.value else 0.01)


SWAPS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


def other_operations(node):
    """Another operation, or an operand that is missing; a function that is another or missing."""
    if isinstance(node, ast.BinOp):
        if type(node.op) in SWAPS:
            yield ast.BinOp(node.left, SWAPS[type(node.op)](), node.right)
        yield node.left
        yield node.right
    if isinstance(node, ast.UnaryOp):
        yield node.operand
    if isinstance(node, ast.Call) and node.func.id in FUNCTIONS:
        yield from node.args


def changes(formula):
    """Every formula that differs from this one in a single place, with what differs."""
    for old in formula.nodes():
        for new in [*other_numbers(old), *other_operations(old)]:
            made = Formula.__new__(Formula)
            made.parameters = formula.parameters
            made.left = _changed(formula.left, old, new)
            made.right = _changed(formula.right, old, new)
            made.parts = {name: _changed(part, old, new) for name, part in formula.parts.items()}
            yield f"{ast.unparse(old)} -> {ast.unparse(new)}", made


def _changed(tree, old, new):
    """A copy of a tree with a node replaced; the tree itself stays as it was."""
    if tree is old:
        return new
    if not isinstance(tree, ast.AST):
        return tree
    fields = {}
    for name, value in ast.iter_fields(tree):
        if isinstance(value, list):
            fields[name] = [_changed(one, old, new) for one in value]
        else:
            fields[name] = _changed(value, old, new)
    return type(tree)(**fields)


def is_name(node):
    """Whether a node of a tree is a name."""
    return isinstance(node, ast.Name)


# the notation


@pytest.mark.parametrize("key", EQUATIONS)
def test_the_notes_begin_with_the_formula(key):
    """It is solved for the function's own name, but for those that say so."""
    formula = FORMULAS[key]
    name = key.partition(".")[2]
    if key in IMPLICIT:
        assert name in formula.names()
    else:
        assert formula.left.id == name
        solved = [formula.right, *formula.parts.values()]
        assert name not in {node.id for tree in solved for node in ast.walk(tree) if is_name(node)}


@pytest.mark.parametrize("key", EQUATIONS)
def test_a_formula_uses_every_parameter_and_no_unknown_name(key):
    formula, name = FORMULAS[key], key.partition(".")[2]
    known = {*formula.parameters, *formula.parts, *CONSTANTS, name}
    assert formula.names() - known == set()
    assert set(formula.parameters) - formula.names() == set()
    assert formula.called() - {*FUNCTIONS, CHOICE, *BY_NAME} == set()
    assert not set(formula.parts) & {*formula.parameters, *CONSTANTS}, "a part hides a parameter"
    assert set(formula.parts) <= formula.names(), "a part is not used"


@pytest.mark.parametrize("key", EQUATIONS)
def test_every_parameter_has_its_unit(key):
    told = equation_of(EQUATIONS[key])
    assert tuple(told.units) == FORMULAS[key].parameters
    assert all(told.units.values()) and told.unit and told.source and told.gives


def test_a_docstring_without_a_formula_is_refused():
    def plain():
        """A thing.

        Notes
        -----
        Source: definition of ``a``.
        """

    with pytest.raises(ValueError, match="plain"):
        equation_of(plain)


def test_powers_bind_before_the_sign_and_names_are_looked_up():
    """The notation is read as it is meant: -2^2 is -4; unknown words are an error."""
    assert Formula(["x = -a^2 * 3"], ["a"]).value({"a": 2.0}, {}) == -12
    assert Formula(["x = if(a > 1, a / 4, ln(0))"], ["a"]).value({"a": 2.0}, {}) == 0.5
    with pytest.raises(KeyError):
        Formula(["x = b"], ["a"]).value({"a": 2.0}, {})
    with pytest.raises(ValueError):
        Formula(["x = a.real"], ["a"]).value({"a": 2.0}, {})


def test_the_normal_distribution_of_the_formulas_is_one():
    """Published values to ten digits, both ways."""
    assert FUNCTIONS["Phi"](1.0) == pytest.approx(0.8413447461, abs=1e-10)
    assert FUNCTIONS["Phi_inv"](0.975) == pytest.approx(1.9599639845, abs=1e-10)
    for share in (1e-9, 1e-3, 0.3, 0.5, 0.9):
        assert FUNCTIONS["Phi"](FUNCTIONS["Phi_inv"](share)) == pytest.approx(share, rel=1e-12)


# formulas and code


@pytest.mark.parametrize("key", EQUATIONS)
def test_the_code_does_what_the_formula_says(key):
    assert misfit(key, FORMULAS[key]) <= 1


@pytest.mark.parametrize("key", EQUATIONS)
def test_a_formula_by_a_fifth_too_large_is_caught(key):
    """Negative control: the samples tell a factor of 1.2 on the result."""
    formula = Formula(equation_of(EQUATIONS[key]).formula, parameters_of(EQUATIONS[key]))
    formula.right = ast.BinOp(formula.right, ast.Mult(), ast.Constant(1.2))
    assert misfit(key, formula) > 1e3


@pytest.mark.parametrize("key", EQUATIONS)
def test_a_formula_changed_in_one_place_is_caught(key):
    """Negative control: every number, every operation and every function counts."""
    missed = [said for said, formula in changes(FORMULAS[key]) if misfit(key, formula) <= 1]
    assert missed == []


def test_no_range_is_left_over():
    """The table names parameters that there are, and all of them."""
    assert set(RANGES) == {name for f in FORMULAS.values() for name in f.parameters}


# a scenario worked through


@pytest.mark.parametrize("name", shipped_scenarios())
def test_the_worked_example_ends_where_the_station_does(name):
    """Chance that no seed joins, at the full pool, as the pick-up works it out."""
    scenario = load_scenario(name)
    stations = stations_of(scenario)
    level = stations.gate.level(stations.gate.full(Moment()))
    at = Moment(speed=scenario.peripheral_speed, level=level)
    chances = stations.pickup.chances(chamber_vacuum(scenario), at)
    steps = worked(scenario)
    assert steps[-1].result == pytest.approx(math.exp(-chances.rate), rel=1e-12)
    found = {step.equation.name: step.result for step in steps}
    for mine, theirs in (("needed_vacuum", "needed"), ("log_margin", "margin")):
        assert found[mine] == pytest.approx(getattr(chances, theirs), rel=1e-12)
    for mine, theirs in (("gain", "gain"), ("loss_rate", "loss"), ("hold", "hold")):
        assert found[mine] == pytest.approx(getattr(chances, theirs), rel=1e-12)


@pytest.mark.parametrize("name", shipped_scenarios())
def test_each_step_follows_from_its_formula_and_its_numbers(name):
    """A reader with a pocket calculator gets the same, from what is printed or came before."""
    for step in worked(load_scenario(name)):
        formula = Formula(step.equation.formula, step.put)
        assert step.result == pytest.approx(formula.value(step.put, BY_NAME), rel=1e-12)
        assert formula.names() - {*formula.parts, *CONSTANTS, step.equation.name} == set(step.put)


def test_a_worked_example_of_another_scenario_is_another():
    """Negative control: less vacuum leaves more cells empty."""
    less = worked(load_scenario("maize_bench", ["vacuum_kpa=2"]))
    assert less[-1].result > 2 * worked(load_scenario("maize_bench"))[-1].result


# the list


def test_the_list_holds_every_formula_in_lines_for_a_terminal(done):
    text = done("list", "equations")
    assert max(map(len, text.splitlines())) <= 100
    words = " ".join(text.split())
    for told in equations():
        assert " ".join(told.formula[:1]) in words and told.gives in words
        assert told.source in words
        assert all(f"where {part}" in words for part in told.formula[1:])


@pytest.mark.parametrize("name", ["maize_field", "gate_too_low"])
def test_the_list_works_the_scenario_through_that_is_asked_for(name, done):
    """Its last line is the chance of an empty cell that explain gives."""
    text = done("list", "equations", name)
    scenario = load_scenario(name)
    assert text.strip() == all_equations(scenario=scenario).strip()
    assert f"Worked through: {name}," in text
    assert f"{100 * explain(scenario).empty:.4g} % of the cells stay empty" in text


def test_other_lists_take_no_scenario(told):
    (line,) = told("list", "lots", "maize_bench")
    assert line.startswith("list: maize_bench: ") and "list equations" in line


def test_a_formula_is_read_from_text_alone():
    """Both sides are expressions."""
    assert isinstance(tree_of("if(a > 0, b^2, c)"), ast.Call)
