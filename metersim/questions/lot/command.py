"""The command `lot`: makes a lot file from a bag label or from measured seeds."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim.files.faults import all_of, bad
from metersim.files.whole import check_writable, write_all
from metersim.machine.seedlot import load_lot
from metersim.questions.lot.seeds import read_seeds
from metersim.questions.lot.study import lot_from_label, lot_from_seeds, lot_toml
from metersim.questions.lot.text import summary
from metersim.questions.shared.options import details_option, units_of, units_option


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
    details_option(command)
    units_option(command, "; us with --seeds-per-lb")


def answer(options: argparse.Namespace) -> str:
    """Answer on a lot that is made with these options; writes the lot file."""
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
    units = "us" if options.seeds_per_lb and not options.units else units_of(options)
    write_all([(options.out, lot_toml(made, units))])
    return summary(made, options.out, units, options.details)


def _check_out(options: argparse.Namespace) -> None:
    check_writable([("--out", options.out)], [options.csv, options.like])
    if not options.out.lower().endswith(".toml"):
        raise bad("--out", options.out, "must end in .toml, so that a scenario can name it")
