"""What was seen as evidence: chances of words, numbers and counts under simulated machines."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.machine.scenario import Scenario
from metersim.measures.scales import ANGLE
from metersim.questions.next.diagnosis import MOST_USED, by_cells_or_spacing
from metersim.questions.next.evidence import Answered, Counted, Evidence, Measured
from metersim.questions.next.signs import EVERY, MOST_READING, Signs, answers_of
from metersim.questions.next.simulated import (
    MACHINES,
    Simulated,
    angles_of,
    between,
    chances_of,
    column_of,
)
from metersim.questions.shared.discrepancy import share_error
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.faults.observe import GAUGE_SD, SLIP, USED_SD
from metersim.questions.shared.faults.signatures import Signatures
from metersim.questions.shared.looks import BELT, DISC, SENSOR, SPACED, Look, summed
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

COLUMNS = {
    BELT: ("true_skips", "true_doubles"),
    SENSOR: ("cell_skips", "cell_doubles"),
    SPACED: ("skips", "doubles"),
    DISC: ("true_skips", "true_doubles"),
}
"""Simulated shares of skips and doubles by way of looking.  A disc at rest is taken for the seeds
that leave it."""
COUNT = "count"
ERRORS = 2  # errors of the model that are drawn for each machine
USED_ERROR = 0.015  # model's error of the seed used, over the planned amount (assumption)


def evidence_of(
    signs: Signs, scenario: Scenario, known: Simulated, seed: int
) -> tuple[Evidence, ...]:
    """All that was seen, with its chances under the simulated machines.

    Parameters
    ----------
    signs : Signs
        What was seen.
    scenario : Scenario
        The machine in order.
    known : Simulated
        What was simulated of it.
    seed : int
        Random seed of the errors of the model.

    Returns
    -------
    tuple
        Evidence with one axis of machines: `DEGREES` of each cause.  Where something was counted,
        there are `MACHINES` times `ERRORS` for each of these.
    """
    found = known.found
    times = MACHINES * ERRORS if signs.counts else 1
    made: list[Evidence] = []
    for sign, answer in signs.answers.items():
        table = np.repeat(chances_of(found, sign), times, axis=2)
        at = answers_of(sign).index(answer)
        if answer == EVERY and signs.period and scenario.disc.cells % signs.period:
            table = np.full_like(table, 1 - SLIP)  # no hole comes back after so many cells
            table[at] = SLIP
        made.append(Answered(sign, signs.words[sign], table, at))
    if signs.seed_used is not None:
        middle = column_of(found, "used")
        if signs.seed_used.weighed:
            middle = middle * _masses(scenario, found)
        ratio, sd = signs.seed_used.ratio, float(np.hypot(USED_SD, USED_ERROR))
        said = f"{100 * ratio:.0f} % of the planned seed"
        middle = np.repeat(middle, times, axis=1)
        made.append(Measured("used", said, ratio, middle, sd, MOST_USED))
    if signs.reading is not None:
        ratio = signs.reading / scenario.vacuum.vacuum
        said = f"{100 * ratio:.0f} % of the set vacuum"
        middle = np.repeat(column_of(found, "gauge"), times, axis=1)
        made.append(Measured("gauge", said, ratio, middle, GAUGE_SD, MOST_READING))
    return (*made, *_counts(signs, scenario, known, seed))


def _counts(signs: Signs, scenario: Scenario, known: Simulated, seed: int) -> list[Evidence]:
    """Counts, summed by way of looking."""
    groups: dict[tuple[str, bool], list[Look]] = {}
    for look in signs.counts:
        groups.setdefault((look.way, look.doubles is None), []).append(look)
    error = share_error(scenario.posterior, scenario.lot.crop)
    streams, many = Streams(seed), MACHINES * ERRORS
    errors = [
        error * ndtri(streams.stratified(f"errors of {kind}", many).clip(1e-9, 1 - 1e-9))
        for kind in ("skips", "doubles")
    ]
    made: list[Evidence] = []
    for (way, _), looks in groups.items():
        look = summed(looks)
        pairs = [
            _shares(known, COLUMNS[one], errors) for one in by_cells_or_spacing(look, signs.monitor)
        ]
        skips, doubles = zip(*pairs, strict=True)
        made.append(Counted(f"{COUNT} by {way}", _said(look), look, skips, doubles))
    return made


def _shares(
    known: Simulated, names: tuple[str, str], errors: list[Floats]
) -> tuple[Floats, Floats]:
    """Shares of skips and of doubles, shape (causes, machines); they sum to 1 at most."""
    angles = [
        np.repeat(angles_of(known, name), ERRORS, axis=2) + error
        for name, error in zip(names, errors, strict=True)
    ]
    skip, double = (ANGLE.back(one).reshape(len(one), -1) for one in angles)
    over = np.maximum(skip + double, 1.0)
    return skip / over, double / over


def _said(look: Look) -> str:
    said = f"{100 * look.skip_share:.1f} % skips"
    return said if look.doubles is None else f"{said}, {100 * look.double_share:.1f} % doubles"


def _masses(scenario: Scenario, found: Signatures) -> Floats:
    """Mass of a seed over the lot's, shape (causes, degrees); a fault may change the seed."""
    rows = [
        [
            LIBRARY[name].put(scenario, float(one)).seeds.seed_mass / scenario.seeds.seed_mass
            for one in found.values["severity"][k]
        ]
        for k, name in enumerate(found.faults)
    ]
    both = [np.array(rows).reshape(-1, found.samples), np.ones((1, found.samples))]
    return between(found, np.vstack(both))
