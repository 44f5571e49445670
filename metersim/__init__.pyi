"""What the package offers, and where it is defined."""

from .files.faults import BadInput
from .machine.discs import load_discs
from .machine.reading import load_scenario
from .machine.scenario import Scenario
from .machine.seedlot import SeedLot, load_lot
from .machine.stations import stations_of
from .measures.estimates import measure
from .measures.tally import tallied
from .questions.compare.study import compare
from .questions.evidence.study import evidence
from .questions.explain.study import explain
from .questions.habits.study import habits
from .questions.howmany.study import howmany
from .questions.ladder.study import ladder
from .questions.measured.study import measured
from .questions.next.study import next_move
from .questions.shared.looks import look_of_seeds
from .questions.shared.page import draw, save
from .questions.shared.plants import plants
from .questions.shared.unknowns import spread
from .questions.sheet.study import sheet
from .questions.sweep.plan import plan_sweep
from .questions.sweep.response import importance, respond
from .questions.sweep.study import sweep
from .run.simulation import simulate

__version__: str
