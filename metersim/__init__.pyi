"""What the package offers, and where it is defined."""

from .files.faults import BadInput
from .machine.conveyor import ConveyorStation
from .machine.discs import load_discs
from .machine.drive import DriveStation
from .machine.furrow import FurrowStation
from .machine.gate import GateStation
from .machine.moment import Moment
from .machine.own import like
from .machine.pickup import PickupStation
from .machine.reading import load_scenario
from .machine.release import ReleaseStation
from .machine.rowunit import RowUnitStation
from .machine.scenario import Scenario
from .machine.seedlot import SeedLot, load_lot
from .machine.sensor import SensorStation
from .machine.singulator import SingulatorStation
from .machine.stations import Stations, fitted, stations_of
from .machine.tube import TubeStation
from .measures.estimates import Measured, measure
from .measures.intervals import Estimate
from .measures.rows import PassMeasured, measure_pass
from .measures.tally import Tally, tallied
from .questions.compare.study import Comparison, compare
from .questions.evidence.study import evidence
from .questions.explain.study import Explained, explain
from .questions.explore.explorer import Explorer
from .questions.explore.result import Redrawn
from .questions.explore.study import Cancelled, Request, redraw
from .questions.gallery.study import draw
from .questions.habits.study import Habits, habits
from .questions.howmany.study import HowMany, howmany
from .questions.learn.study import Learned, learn
from .questions.measured.study import Counted, measured
from .questions.next.diagnosis import Used
from .questions.next.study import NextMove, next_move
from .questions.shared.looks import Look, look_of_seeds
from .questions.shared.page import save
from .questions.shared.plants import Stand, plants
from .questions.shared.spread import Spread
from .questions.shared.unknowns import spread
from .questions.sheet.study import Sheet, sheet
from .questions.steps.study import SingleSteps, steps
from .questions.sweep.plan import Plan, plan_sweep
from .questions.sweep.response import Response, importance, respond
from .questions.sweep.study import Sweep, sweep
from .run.records import Run
from .run.rows import Pass, RowRun
from .run.simulation import simulate
from .run.toolbar import simulate_pass

__version__: str
