"""The command `lot`: makes a lot file from a bag label or from measured seeds."""

from __future__ import annotations

import argparse
import math
from pathlib import Path

from metersim.files.faults import all_of, bad
from metersim.files.whole import check_writable, write_all
from metersim.machine.seedlot import load_lot
from metersim.questions.lot.seeds import read_seeds
from metersim.questions.lot.study import MadeLot, lot_from_label, lot_from_seeds, lot_toml
from metersim.questions.shared.options import units_option
from metersim.questions.shared.words import block, number, quantity, set_quantity, shown


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim lot``."""
    seed = command.add_mutually_exclusive_group(required=True)
    seed.add_argument("--seeds-per-kg", type=float, metavar="N", help="from the bag's label")
    seed.add_argument("--seeds-per-lb", type=float, metavar="N", help="from the bag's label")
    seed.add_argument(
        "--csv",
        metavar="FILE",
        help="seeds measured with a calliper, one a row: "
        "length_mm,width_mm,thickness_mm and, if weighed, mass_mg",
    )
    command.add_argument(
        "--like",
        required=True,
        metavar="LOT",
        help="shipped lot, or lot file, that the rest is borrowed from",
    )
    command.add_argument("--title", default="", help="what to call it")
    command.add_argument("--out", required=True, metavar="FILE", help="lot file to write: .toml")
    units_option(command, None, "; us with --seeds-per-lb")


def answer(options: argparse.Namespace) -> str:
    """Report of a lot that is made with these options; writes the lot file."""
    like, seeds, _ = all_of(
        lambda: load_lot(options.like),
        lambda: read_seeds(Path(options.csv)) if options.csv else None,
        lambda: _check_out(options),
    )
    name = Path(options.out).stem
    if seeds is not None:
        made = lot_from_seeds(seeds, like, title=options.title, name=name)
    else:
        made = lot_from_label(
            like,
            seeds_per_kg=options.seeds_per_kg,
            seeds_per_lb=options.seeds_per_lb,
            title=options.title,
            name=name,
        )
    write_all([(options.out, lot_toml(made))])
    units = options.units or ("us" if options.seeds_per_lb else "metric")
    return made_text(made, options.out, units)


def _check_out(options: argparse.Namespace) -> None:
    check_writable([("--out", options.out)], [options.csv, options.like])
    if not options.out.lower().endswith(".toml"):
        raise bad("--out", options.out, "must end in .toml, so that a scenario can name it")


def made_text(made: MadeLot, path: str, units: str = "metric") -> str:
    """Values of a made lot, with the source of each."""
    lot = made.lot
    sides = [shown("small", side, units) for side in (lot.length, lot.width, lot.thickness)]
    size = f"{' x '.join(number(side) for side, _ in sides)} {sides[0][1]}"
    weight, unit = shown("mass", lot.seed_mass, units)
    lines = [f"{lot.title}, written to {path}", ""]
    spread = f"{lot.size_cv * 100:.2f} %"
    if made.spread_low is not None and made.spread_high is not None:
        spread += f" (95 % interval {made.spread_low * 100:.2f} to {made.spread_high * 100:.2f} %)"
    elif not math.isnan(lot.size_cv):
        spread += " (not measured)"
    lines += block(
        "Seed",
        [
            f"{size}, {lot.seed_mass * 1e6:.4g} mg, or {1 / weight:,.0f} seeds a {unit}",
            f"spread of linear size {spread}",
            f"heap of {set_quantity('heap', lot.bulk_density, units)}, "
            f"{quantity('', math.degrees(lot.repose_angle))} degrees of repose",
        ],
    )
    lines += ["", *block("From", made.notes)]
    if lot.illustrative:
        lines.append("This lot is illustrative: over half of its values are assumed.")
    return "\n".join(lines)
