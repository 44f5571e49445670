"""Meters with known faults: what was counted on them, and what each move truly brings."""

import functools
from dataclasses import dataclass, replace

import numpy as np

import metersim as m
from metersim.machine.posterior import Posterior
from metersim.questions.next.diagnosis import Seen
from metersim.questions.next.gain import gains
from metersim.questions.next.moves import moves_of
from metersim.questions.next.possible import Possible
from metersim.questions.shared.hidden import draw_states, meter_of
from metersim.questions.shared.looks import Look, loads
from metersim.run.simulation import simulate
from metersim.run.streams import Streams

COUNTED = ("seed size", "vacuum", "singulator", "pool")
START = (-2.0, -1.0, 0.0, 1.0, 2.0)  # notches
LONG = 10_000  # cells that a true gain is found in
STATES_SEED, LOOK_SEED, TRUTH_SEED = 71, 72, 73
MACHINES = 100  # number of the first machine


def known(scenario):
    """The scenario on a machine that is known, with known inputs, by a model without error."""
    scenario = scenario.drawn([0.5] * len(scenario.unknown))
    one = Posterior(
        draws=(scenario.coefficients,) * 2, share=(0.0, 0.0), spread=(0.0, 0.0), made="known"
    )
    return replace(scenario, meter=one)


def count_on(scenario, state, seeds, way="belt", *, seed=LOOK_SEED, replicate=0):
    """A count of so many seeds on a meter with a hidden state."""
    run = simulate(
        meter_of(scenario, state).lasting(2 * seeds + 100), seed=seed, replicate=replicate
    )
    shown = loads(run, way)
    cells = int(np.searchsorted(np.cumsum(shown), seeds)) + 1
    shown = shown[:cells]
    return Look(cells=cells, skips=int((shown == 0).sum()), doubles=int((shown > 1).sum()), way=way)


@dataclass(frozen=True)
class Trial:
    """A meter with a known fault, set somewhere, on which seeds were counted once."""

    usual: m.Scenario
    scenario: m.Scenario
    state: dict
    seen: Seen
    number: int

    @functools.cached_property
    def truth(self):
        """What every move truly brings, by its words, and staying."""
        moves = moves_of(self.scenario, COUNTED)
        own = [Possible(self.state)]
        found = gains(self.scenario, own, moves, seed=TRUTH_SEED, cells=LONG)
        return {gain.move.words: float(gain.changes[0]) for gain in found} | {STAY: 0.0}


STAY = "leave it, count more"


def trials(many, name="maize_bench", seeds=500, starts=START):
    """Meters drawn from the priors, on machines of the posterior, set at some notch.

    Each has one count.
    """
    scenario = m.load_scenario(name)
    starts = Streams(STATES_SEED).generator("start").choice(starts, size=many)
    made = []
    for k, state in enumerate(draw_states(many, STATES_SEED, COUNTED)):
        machine = replace(scenario, coefficients=scenario.posterior.draw(MACHINES + k))
        set_ = machine.replace(singulator__notch=float(starts[k]))
        made.append(
            Trial(scenario, set_, state, Seen(set_, count_on(set_, state, seeds, replicate=k)), k)
        )
    return made
