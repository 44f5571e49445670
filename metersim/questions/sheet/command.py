"""The command `sheet`: chooses a disc and start settings for a lot, and writes a sheet."""

from __future__ import annotations

import argparse
import os
import shlex
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault, all_of, bad, whole
from metersim.files.fields import Spec, specs
from metersim.files.typed import typed_for
from metersim.files.units import Unit
from metersim.files.whole import FIGURES, check_writable, write_all
from metersim.machine.changes import plain_change
from metersim.machine.discs import GenericDisc, load_discs
from metersim.machine.given import scenario_toml
from metersim.machine.sections import Demand, Vacuum
from metersim.machine.seedlot import load_lot
from metersim.machine.sources import USUAL_DEMAND
from metersim.measures.yields import Harvest
from metersim.questions.shared.html import PAPERS
from metersim.questions.shared.options import (
    crew,
    details_option,
    harvest_of,
    harvest_options,
    seed_of,
    units_option,
    workers_of,
    workers_option,
)
from metersim.questions.shared.progress import bar
from metersim.questions.sheet.answer import sheet_answer
from metersim.questions.sheet.discfit import machine_for
from metersim.questions.sheet.html import sheet_html
from metersim.questions.sheet.ownwords import hole_of
from metersim.questions.sheet.study import VACUUM_LEAST, VACUUM_MOST, Sheet, sheet
from metersim.questions.sheet.text import scenario_notes
from metersim.questions.sheet.written import sheet_json

HTML = (".html", ".htm")
STAND_INS = {"rate_per_ha": "80000", "row_spacing_cm": "75", "speed_kmh": "6"}


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim sheet``."""
    add = command.add_argument
    add("crop", nargs="?", metavar="CROP", help="the same as --lot, such as corn")
    add("--lot", metavar="LOT", help="a lot file, or the name of a shipped lot")
    add(
        "--cells",
        metavar="N",
        help="holes of your own disc, together with --hole: says whether it suits; without --rate, "
        "--row-spacing or --speed the usual one of the crop is taken",
    )
    add("--hole", metavar="D", help="diameter of its holes, such as 4.5mm, 0.177in or 11/64in")
    add(
        "--rate",
        metavar="N",
        help="seeds per ha; per acre with --units us; or 34000/acre",
    )
    add("--row-spacing", metavar="N", help="cm between rows; in with --units us; or with a unit")
    add("--speed", metavar="N", help="km/h of travel; mph with --units us; or with a unit, 5mph")
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
    add("--seed", default="1", metavar="N", help="random seed (1)")
    workers_option(command)
    add(
        "--out",
        metavar="FILE",
        help="write a page for the wall and one of reasons: .pdf, .html, or two .png or .svg",
    )
    add("--paper", choices=PAPERS, help="paper of these pages (a4; letter with --units us)")
    details_option(command, "show the whole text of the sheet")
    add("--json", metavar="FILE", help="write everything as JSON, in SI; - prints it")
    add("--scenario", metavar="FILE", help="write the start setup, for all other commands: .toml")
    harvest_options(command)
    units_option(command)


def answer(options: argparse.Namespace) -> str:
    """Answer of a sheet with these options; writes the requested files."""
    _name_lot(options)
    asked, own, most, discs, seed, workers, harvest, *_ = all_of(
        lambda: _asked_of_machine(options),
        lambda: _own(options),
        lambda: _vacuum_most(options),
        lambda: load_discs(options.discs),
        lambda: seed_of(options),
        lambda: workers_of(options),
        lambda: harvest_of(options),
        lambda: _check_price(options),
        lambda: _check_files(options),
    )
    with bar(len(discs), "disc") as show, crew(workers, options.workers) as executor:
        made = sheet(
            options.lot,
            [*asked, *options.set],
            discs=discs,
            own=own,
            vacuum_most=most,
            seed=seed,
            units=options.units,
            executor=executor,
            on_disc=show,
        )
    made = replace(made, usual=tuple(_missing(options)) if own else ())
    content = sheet_json(made, harvest) if options.json else ""
    said = sheet_answer(made, options.units, harvest, options.details)
    _write(made, options, harvest, content)
    return content.removesuffix("\n") if options.json == "-" else said + _written(options)


def _name_lot(options: argparse.Namespace) -> None:
    """Take the crop for the lot; raises `BadInput` without one, and with two."""
    if options.crop is None and options.lot is None:
        raise bad("--lot", "", "missing; name the crop or the lot, as in 'metersim sheet corn'")
    if options.crop is not None and options.lot is not None:
        raise bad("--lot", options.lot, f"states the same as {options.crop}; give one of them")
    options.lot = options.lot or options.crop.strip().replace(" ", "_")


def _own(options: argparse.Namespace) -> tuple[int, float] | None:
    """Holes of the own disc and their diameter [m], if they are given."""
    if options.cells is None and options.hole is None:
        return None
    for option, other, word in (
        ("--cells", "--hole", options.cells),
        ("--hole", "--cells", options.hole),
    ):
        if word is None:
            raise bad(option, "", f"missing; it goes with {other}")
    spec = specs(GenericDisc)["cells"]
    cells, hole = all_of(
        lambda: whole("--cells", options.cells, int(spec.low), int(spec.high)),
        lambda: hole_of(options.hole, options.units),
    )
    return cells, hole


def _missing(options: argparse.Namespace) -> list[str]:
    """Parts of the request that are not given."""
    return [
        name.replace("_", " ")
        for name, spec in specs(Demand).items()
        if getattr(options, name) is None and not _set_keys(options) & set(spec.keys)
    ]


def _usual(options: argparse.Namespace) -> dict[str, str]:
    """Usual request for the crop of an own disc, by part; empty where none is known."""
    if options.cells is None or options.hole is None:
        return {}
    try:
        crop = load_lot(options.lot).crop
    except BadInput:  # said with the machine
        return {}
    usual = USUAL_DEMAND.get(crop)
    if usual is None:
        return {}
    values = usual[options.units == "us"]
    return {name: f"{value:g}" for name, value in zip(specs(Demand), values, strict=True)}


def _check_price(options: argparse.Namespace) -> None:
    """Refuse a price without a yield, as losses are given only with a yield."""
    if options.price is not None and options.expected is None:
        raise bad("--price", options.price, "goes with the yield that you expect; give --yield")


def _typed(option: str, word: str, spec: Spec, units: str) -> tuple[float, Unit | None]:
    """Number that an option states, and its unit: the one typed behind it, else the reader's."""
    read = typed_for(word, spec, units)
    value: Any = read[0] if read else word
    unit = read[1] if read else spec.unit_for(units)
    if complaint := spec.complaint(int(value) if read and value.is_integer() else value, unit):
        raise bad(option, word, complaint)
    return value, unit


def _change(option: str, word: str, spec: Spec, units: str) -> str:
    """Change of the key of an option, from the typed number."""
    value, unit = _typed(option, word, spec, units)
    return f"{spec.name}_{unit.suffix if unit else ''}={value:.12g}"


def _asked(options: argparse.Namespace) -> list[str]:
    """Request to the meter, as changes of keys."""
    usual, missing = _usual(options), _missing(options)
    words = {name: getattr(options, name) for name in specs(Demand)}
    words |= {name: one for name, one in usual.items() if name.replace("_", " ") in missing}
    given = (
        partial(_asked_one, options, f"--{name.replace('_', '-')}", words[name], spec)
        for name, spec in specs(Demand).items()
    )
    return [change for change in all_of(*given) if change]


def _asked_one(options: argparse.Namespace, option: str, word: str | None, spec: Spec) -> str:
    """Request of an option as a change of its key; empty where --set gives the key."""
    also = sorted(_set_keys(options) & set(spec.keys))
    if word is None and not also:
        allowed = spec.allowed(spec.unit_for(options.units))
        raise bad(option, "", f"missing; give {allowed} ({spec.meaning})")
    if word is not None and also:
        raise bad(option, word, f"states the same as --set {also[0]}; give only one of them")
    return "" if word is None else _change(option, word, spec, options.units)


def _set_keys(options: argparse.Namespace) -> set[str]:
    """Keys of --set, without their sections."""
    changes = map(plain_change, options.set)
    return {change.partition("=")[0].strip().rpartition(".")[2] for change in changes}


def _asked_of_machine(options: argparse.Namespace) -> list[str]:
    """Checked request to the machine; raises `BadInput` with every fault of request and lot."""
    faults: list[Fault] = []
    try:
        asked = _asked(options)
    except BadInput as error:
        faults += error.faults
        stated = _set_keys(options)
        asked = [
            f"{key}={value}"  # replaces a wrong value, so that the rest can be checked
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
    """Highest vacuum of the fan. [Pa]"""
    if options.vacuum_most is None:
        return VACUUM_MOST
    usual = specs(Vacuum)["vacuum"]
    spec = Spec("vacuum", "number", "what the fan gives", usual.units, VACUUM_LEAST, usual.high)
    most = _typed("--vacuum-most", options.vacuum_most, spec, options.units)
    return float(spec.to_si(*most))


def _check_files(options: argparse.Namespace) -> None:
    """Refuse files that cannot be written, and unknown endings."""
    files = [("--out", options.out), ("--scenario", options.scenario)]
    more = [("--out", name) for name in _pages(options.out)[1:]]
    check_writable([*files, *more, ("--json", options.json)], [options.lot, options.discs])
    endings = {"--out": (*FIGURES, *HTML), "--scenario": (".toml",)}
    faults = [
        Fault(option, name, f"must end in {' or '.join(endings[option])}")
        for option, name in files
        if name is not None and not name.lower().endswith(endings[option])
    ]
    if faults:
        raise BadInput(faults)


def _pages(out: str | None) -> list[str]:
    """Files of both pages; a PDF or an HTML page holds them in one file."""
    if out is None:
        return []
    path = Path(out)
    if path.suffix.lower() in (*HTML, ".pdf"):
        return [out]
    return [out, str(path.with_stem(f"{path.stem}_reasons"))]


def _written(options: argparse.Namespace) -> str:
    """Lines with the written files and the command for the first count."""
    names = [*_pages(options.out), *filter(None, (options.scenario, options.json))]
    said = f"\n\nWritten to {' and '.join(names)}." if names else ""
    if options.scenario:
        name = shlex.quote(options.scenario)
        count = "--set surface=bench --counted N --skips N --doubles N"
        said += f"\nAfter the first count on the bench: metersim next {name} {count}"
    return said


def _write(made: Sheet, options: argparse.Namespace, harvest: Harvest, content: str) -> None:
    """Write pages, scenario and JSON, all or none."""
    files: list[tuple[str, str | bytes]] = []
    if options.out and options.out.lower().endswith(HTML):
        files.append((options.out, sheet_html(made, options.units, harvest, options.paper)))
    elif options.out:
        from metersim.questions.shared.page import encoded, encoded_pdf
        from metersim.questions.sheet.figure import sheet_pages

        drawn = sheet_pages(made, options.units, harvest, options.paper)
        names = _pages(options.out)
        if len(names) == 1:
            files.append((options.out, encoded_pdf(drawn)))
        else:
            files += [(name, encoded(one, name)) for name, one in zip(names, drawn, strict=True)]
    if options.json and options.json != "-":
        files.append((options.json, content))
    if options.scenario:
        lot, scenario = options.lot, made.scenario
        if options.units == "us":  # what is read in US units is written in them
            scenario = replace(scenario, units="us")
        if lot.lower().endswith(
            ".toml"
        ):  # a scenario refers to its lot file relative to its own folder
            lot = os.path.relpath(lot, Path(options.scenario).parent)
        text = scenario_toml(scenario, scenario_notes(made, options.units), lot)
        files.append((options.scenario, text))
    write_all(files)
