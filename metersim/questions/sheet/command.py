"""Chooses a disc and a start setting for a lot, and writes them as a sheet."""

from __future__ import annotations

import argparse
import os
import shlex
from functools import partial
from pathlib import Path

from metersim.files.faults import BadInput, Fault, all_of, bad
from metersim.files.fields import Spec, specs
from metersim.files.units import Unit
from metersim.files.whole import FIGURES, check_writable, write_all
from metersim.machine.discs import load_discs
from metersim.machine.reading import parse_value
from metersim.machine.sections import Demand, Vacuum
from metersim.machine.writing import scenario_toml
from metersim.measures.yields import Harvest
from metersim.questions.shared.options import (
    bar,
    crew,
    harvest_of,
    harvest_options,
    seed_of,
    units_option,
    workers_of,
    workers_option,
)
from metersim.questions.sheet.discfit import machine_for
from metersim.questions.sheet.html import sheet_html
from metersim.questions.sheet.study import VACUUM_LEAST, VACUUM_MOST, Sheet, sheet
from metersim.questions.sheet.text import scenario_notes, sheet_text

HTML = (".html", ".htm")
STAND_INS = {"rate_per_ha": "80000", "row_spacing_cm": "75", "speed_kmh": "6"}


def add_options(command: argparse.ArgumentParser) -> None:
    """What can be typed behind ``metersim sheet``."""
    add = command.add_argument
    add("--lot", required=True, metavar="LOT", help="a lot file, or the name of a shipped lot")
    add("--rate", metavar="N", help="seeds per ha; per acre with --units us")
    add("--row-spacing", metavar="N", help="cm between rows; in with --units us")
    add("--speed", metavar="N", help="km/h of travel; mph with --units us")
    add(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="what your machine has, such as circle_radius_mm=95 or inner_guide=false, or what is "
        "asked in a unit of its own, such as speed_m_s=2; may be repeated; 'metersim list keys' "
        "shows all",
    )
    add("--vacuum-most", metavar="N", help="kPa that the fan gives at the hole (6); inH2O for us")
    add("--discs", metavar="FILE", help="discs that you have, in a file like that of 'list discs'")
    add("--seed", default="1", metavar="N", help="what chooses the luck (1)")
    workers_option(command)
    add("--out", metavar="FILE", help="write one page for the wall: .pdf, .png, .svg or .html")
    add("--scenario", metavar="FILE", help="write the start setup, for all other commands: .toml")
    harvest_options(command)
    units_option(command, "metric")


def answer(options: argparse.Namespace) -> str:
    """Make a sheet as the options say, write what they ask for, and tell it."""
    asked, most, discs, seed, workers, harvest, _ = all_of(
        lambda: _asked_of_machine(options),
        lambda: _vacuum_most(options),
        lambda: load_discs(options.discs),
        lambda: seed_of(options),
        lambda: workers_of(options),
        lambda: harvest_of(options),
        lambda: _check_files(options),
    )
    with bar(len(discs), "disc") as show, crew(workers) as executor:
        made = sheet(
            options.lot,
            [*asked, *options.set],
            discs=discs,
            vacuum_most=most,
            seed=seed,
            units=options.units,
            executor=executor,
            on_disc=show,
        )
    _write(made, options, harvest)
    return sheet_text(made, options.units, harvest) + _written(options)


def _unit(spec: Spec, units: str) -> tuple[str, Unit]:
    """Key and unit in which an option without a unit is meant."""
    return next((key, u) for key, u in spec.keys.items() if u is not None and u.family == units)


def _number(option: str, word: str, spec: Spec, units: str) -> str:
    """A number of an option, as a change of its key."""
    key, unit = _unit(spec, units)
    if complaint := spec.complaint(parse_value(word), unit):
        raise bad(option, word, complaint)
    return f"{key}={word}"


def _asked(options: argparse.Namespace) -> list[str]:
    """What is asked of the meter, as changes of keys."""
    given = (
        partial(_asked_one, options, f"--{name.replace('_', '-')}", getattr(options, name), spec)
        for name, spec in specs(Demand).items()
    )
    return [change for change in all_of(*given) if change]


def _asked_one(options: argparse.Namespace, option: str, word: str | None, spec: Spec) -> str:
    """What an option asks, as a change of its key; empty where --set does so in its place."""
    also = sorted(_set_keys(options) & set(spec.keys))
    if word is None and not also:
        allowed = spec.allowed(_unit(spec, options.units)[1])
        raise bad(option, "", f"missing; give {allowed} ({spec.meaning})")
    if word is not None and also:
        raise bad(option, word, f"states the same as --set {also[0]}; give only one of them")
    return "" if word is None else _number(option, word, spec, options.units)


def _set_keys(options: argparse.Namespace) -> set[str]:
    """Keys that are set, without their sections."""
    return {change.partition("=")[0].strip().rpartition(".")[2] for change in options.set}


def _asked_of_machine(options: argparse.Namespace) -> list[str]:
    """What is asked, on a machine and with a lot that can be; with every fault of them."""
    faults: list[Fault] = []
    try:
        asked = _asked(options)
    except BadInput as error:
        faults += error.faults
        stated = _set_keys(options)
        asked = [
            f"{key}={value}"  # stands for what is wrong, so that the rest can be looked at
            for (key, value), spec in zip(STAND_INS.items(), specs(Demand).values(), strict=True)
            if not stated & set(spec.keys)
        ]
    try:
        machine_for(options.lot, [*asked, *options.set])
    except BadInput as error:
        faults += [
            Fault("--lot", fault.key, fault.message) if fault.where == "seed lot" else fault
            for fault in error.faults
        ]
    if faults:
        raise BadInput(faults)
    return asked


def _vacuum_most(options: argparse.Namespace) -> float:
    """The most that the fan gives. [Pa]"""
    if options.vacuum_most is None:
        return VACUUM_MOST
    usual = specs(Vacuum)["vacuum"]
    spec = Spec("vacuum", "number", "what the fan gives", usual.units, VACUUM_LEAST, usual.high)
    word = options.vacuum_most
    _number("--vacuum-most", word, spec, options.units)
    return float(spec.to_si(parse_value(word), _unit(spec, options.units)[1]))


def _check_files(options: argparse.Namespace) -> None:
    """Refuse files that cannot be written or have another ending."""
    files = [("--out", options.out), ("--scenario", options.scenario)]
    check_writable(files, [options.lot, options.discs])
    endings = {"--out": (*FIGURES, *HTML), "--scenario": (".toml",)}
    faults = [
        Fault(option, name, f"must end in {' or '.join(endings[option])}")
        for option, name in files
        if name is not None and not name.lower().endswith(endings[option])
    ]
    if faults:
        raise BadInput(faults)


def _written(options: argparse.Namespace) -> str:
    """Which files there are now, and the command that takes the first count."""
    names = [name for name in (options.out, options.scenario) if name]
    said = f"\n\nWritten to {' and '.join(names)}." if names else ""
    if options.scenario:
        name = shlex.quote(options.scenario)
        count = "--set surface=bench --seeds N --skips N --doubles N"
        said += f"\nAfter the first count on the bench: metersim next {name} {count}"
    return said


def _write(made: Sheet, options: argparse.Namespace, harvest: Harvest) -> None:
    """The page and the scenario, both or none."""
    files: list[tuple[str, str | bytes]] = []
    if options.out and options.out.lower().endswith(HTML):
        files.append((options.out, sheet_html(made, options.units, harvest)))
    elif options.out:
        from metersim.questions.shared.page import encoded
        from metersim.questions.sheet.figure import sheet_figure

        drawn = sheet_figure(made, options.units, harvest)
        files.append((options.out, encoded(drawn, options.out)))
    if options.scenario:
        lot = options.lot
        if lot.lower().endswith(".toml"):  # is looked for beside the scenario
            lot = os.path.relpath(lot, Path(options.scenario).parent)
        text = scenario_toml(made.scenario, scenario_notes(made), lot)
        files.append((options.scenario, text))
    write_all(files)
