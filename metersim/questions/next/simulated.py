"""Simulated machines with each fault, and in order: what they show, between few severities too."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from metersim.machine.airline import chamber_vacuum, middle_row
from metersim.machine.rows import row_scenario
from metersim.machine.scenario import Scenario
from metersim.measures.scales import ANGLE
from metersim.questions.next.signs import CURRENT
from metersim.questions.shared.faults.breathing import alone
from metersim.questions.shared.faults.looked import looked, run_of
from metersim.questions.shared.faults.observe import CURRENT_BY, CURRENT_SD, SLIP, read
from metersim.questions.shared.faults.signatures import (
    CELLS,
    FURTHER,
    IN_ORDER,
    SAMPLES,
    Signatures,
    signatures,
)
from metersim.run.parallel import in_order

Floats = NDArray[np.float64]

SHARED_PART = 0.25
"""Part of a machine's answers that all machines of a fault share (assumption).

A few machines stand for all of a fault.  Without this part, a sign that none of them shows would
exclude the fault.
"""
UNSEEN = ("rows", "onset")
"""Signs that a machine in order has none of: all answers are equally likely."""
DEGREES = 12  # severities of a fault between those that were simulated
MACHINES = 24  # machines in order that show how far machines differ
SHARES = ("true_skips", "true_doubles", "cell_skips", "cell_doubles", "skips", "doubles")


@dataclass(frozen=True, eq=False, kw_only=True)
class Simulated:
    """What was simulated of one scenario.

    Attributes
    ----------
    found : Signatures
        Signatures of its faults.
    order : mapping of str to ndarray, shape (`MACHINES`,)
        Shares that different machines in order show, by name. [1]
    """

    found: Signatures
    order: Mapping[str, Floats]


def simulated(
    scenario: Scenario,
    *,
    seed: int = 1,
    samples: int = SAMPLES,
    further: Sequence[str] = FURTHER,
    executor: Executor | None = None,
) -> Simulated:
    """Simulate a machine with each of its faults, and machines in order.

    Parameters
    ----------
    scenario : Scenario
        The machine in order.
    seed : int
        Random seed of severities and runs.
    samples : int
        Machines of each fault.
    further : sequence of str
        Which of the signs that take further runs are wanted, as for `signatures`.
    executor : Executor, optional
        Executor of the simulations; by default they run in this process.  The result is the same.
    """
    found = signatures(scenario, seed=seed, samples=samples, further=further, executor=executor)
    row = scenario
    if scenario.is_toolbar:
        own = row_scenario(scenario, middle_row(scenario))
        row = alone(own, chamber_vacuum(own))
    rows = in_order(partial(_shares, row, seed), range(MACHINES), executor)
    order = dict(zip(SHARES, np.array([*rows]).T, strict=True))
    return Simulated(found=found, order=order)


def _shares(scenario: Scenario, seed: int, number: int) -> tuple[float, ...]:
    """Shares of one machine in order."""
    machine = replace(scenario, coefficients=scenario.posterior.draw(number))
    seen = looked(run_of(machine, CELLS, seed, number), scenario.spacing)
    return tuple(getattr(seen, name) for name in SHARES)


def angles_of(known: Simulated, name: str) -> Floats:
    """Angles of a share of all causes on different machines.

    Parameters
    ----------
    known : Simulated
        What was simulated.
    name : str
        One of `SHARES`.

    Returns
    -------
    ndarray, shape (causes, degrees, machines)
        Angles ``asin sqrt(share)``. [rad]

    Notes
    -----
    ``angle of a machine in order + change by the fault``

    assumption: on this scale a fault changes all machines alike.
    """
    found = known.found
    change = ANGLE.to(found.values[name]) - ANGLE.to(found.usual[name])
    every = between(found, np.vstack([change, np.zeros(found.samples)]))
    return np.asarray(every[..., None] + ANGLE.to(known.order[name]))


def chances_of(found: Signatures, sign: str) -> Floats:
    """Chances of all answers of a sign, shape (answers, causes, machines).

    The last cause is a machine in order.  A part of each chance is shared by all machines of a
    cause (`SHARED_PART`).
    """
    if sign == CURRENT:
        ratio = found.values[sign] / found.usual[sign]
        made, order = three(ratio), three(np.ones((1, found.samples)))
    else:
        made, order = found.chances(sign), found.in_order().chances(sign)
    if sign in UNSEEN:
        order = np.full_like(order, 1 / len(order))
    every = np.concatenate([made, order], axis=1)
    every = np.where(np.isfinite(every), every, 1 / len(every))
    every = np.einsum("acs,cms->acm", every, degrees(found))
    mean = every.mean(axis=2, keepdims=True)
    return np.asarray((1 - SHARED_PART) * every + SHARED_PART * mean)


def degrees(found: Signatures) -> Floats:
    """Parts of the simulated machines in machines of evenly spread severities.

    Few severities of each fault are simulated.  Numbers in between are interpolated.

    Returns
    -------
    ndarray, shape (causes, machines, samples)
        Parts, which sum to 1 over samples. [1]
    """
    wanted = (np.arange(DEGREES) + 0.5) / DEGREES
    even = (np.arange(found.samples) + 0.5) / found.samples  # machines in order have none
    rows = np.vstack([found.values["severity"], even])
    made = np.empty((len(rows), DEGREES, found.samples))
    for k, row in enumerate(rows):
        order = np.argsort(row, kind="stable")
        for j, one in enumerate(np.eye(found.samples)):
            made[k, :, j] = np.interp(wanted, row[order], one[order])
    return made


def three(ratio: Floats) -> Floats:
    """Chances that a current is called high, normal and low; each may be said by mistake."""
    high, low = read(ratio, CURRENT_SD, CURRENT_BY)
    sure = np.stack([high, (1 - high - low).clip(min=0.0), low])
    return np.asarray((1 - 3 * SLIP) * sure + SLIP)


def causes_of(found: Signatures) -> tuple[str, ...]:
    """Names of the causes with signatures: the faults, and a machine in order."""
    return (*found.faults, IN_ORDER)


def column_of(found: Signatures, name: str) -> Floats:
    """A simulated number of all causes, shape (causes, machines)."""
    if name == "severity":
        return np.broadcast_to(
            (np.arange(DEGREES) + 0.5) / DEGREES, (len(found.faults) + 1, DEGREES)
        )
    return between(found, np.vstack([found.values[name], found.usual[name][None, :]]))


def between(found: Signatures, column: Floats) -> Floats:
    """A number of all causes between the severities that were simulated."""
    return np.asarray(np.einsum("cs,cms->cm", column, degrees(found)))
