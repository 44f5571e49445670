"""The command `sheet`: chooses a disc and start settings for a lot, and writes a sheet."""

from __future__ import annotations

import argparse
import os
import shlex
from collections.abc import Iterable
from functools import partial
from html import escape
from pathlib import Path

from metersim.files.faults import BadInput, Fault, all_of, bad
from metersim.files.fields import Spec, specs
from metersim.files.units import Unit
from metersim.files.whole import FIGURES, check_writable, write_all
from metersim.machine.discs import load_discs
from metersim.machine.given import scenario_toml
from metersim.machine.reading import parse_value
from metersim.machine.sections import Demand, Vacuum
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
from metersim.questions.shared.plantwords import NONE
from metersim.questions.sheet.discfit import machine_for
from metersim.questions.sheet.study import VACUUM_LEAST, VACUUM_MOST, Sheet, sheet
from metersim.questions.sheet.text import Block, blocks, scenario_notes, sheet_text

HTML = (".html", ".htm")
STAND_INS = {"rate_per_ha": "80000", "row_spacing_cm": "75", "speed_kmh": "6"}


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim sheet``."""
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
    add("--seed", default="1", metavar="N", help="random seed (1)")
    workers_option(command)
    add("--out", metavar="FILE", help="write one page for the wall: .pdf, .png, .svg or .html")
    add("--scenario", metavar="FILE", help="write the start setup, for all other commands: .toml")
    harvest_options(command)
    units_option(command, "metric")


def answer(options: argparse.Namespace) -> str:
    """Text of a sheet with these options; writes the requested files."""
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
    """Key and unit of an option whose number has no unit."""
    return next((key, u) for key, u in spec.keys.items() if u is not None and u.family == units)


def _number(option: str, word: str, spec: Spec, units: str) -> str:
    """Change of the key of an option, from the typed number."""
    key, unit = _unit(spec, units)
    if complaint := spec.complaint(parse_value(word), unit):
        raise bad(option, word, complaint)
    return f"{key}={word}"


def _asked(options: argparse.Namespace) -> list[str]:
    """Request to the meter, as changes of keys."""
    given = (
        partial(_asked_one, options, f"--{name.replace('_', '-')}", getattr(options, name), spec)
        for name, spec in specs(Demand).items()
    )
    return [change for change in all_of(*given) if change]


def _asked_one(options: argparse.Namespace, option: str, word: str | None, spec: Spec) -> str:
    """Request of an option as a change of its key; empty where --set gives the key."""
    also = sorted(_set_keys(options) & set(spec.keys))
    if word is None and not also:
        allowed = spec.allowed(_unit(spec, options.units)[1])
        raise bad(option, "", f"missing; give {allowed} ({spec.meaning})")
    if word is not None and also:
        raise bad(option, word, f"states the same as --set {also[0]}; give only one of them")
    return "" if word is None else _number(option, word, spec, options.units)


def _set_keys(options: argparse.Namespace) -> set[str]:
    """Keys of --set, without their sections."""
    return {change.partition("=")[0].strip().rpartition(".")[2] for change in options.set}


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
    word = options.vacuum_most
    _number("--vacuum-most", word, spec, options.units)
    return float(spec.to_si(parse_value(word), _unit(spec, options.units)[1]))


def _check_files(options: argparse.Namespace) -> None:
    """Refuse files that cannot be written, and unknown endings."""
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
    """Lines with the written files and the command for the first count."""
    names = [name for name in (options.out, options.scenario) if name]
    said = f"\n\nWritten to {' and '.join(names)}." if names else ""
    if options.scenario:
        name = shlex.quote(options.scenario)
        count = "--set surface=bench --counted N --skips N --doubles N"
        said += f"\nAfter the first count on the bench: metersim next {name} {count}"
    return said


def _write(made: Sheet, options: argparse.Namespace, harvest: Harvest) -> None:
    """Write the page and the scenario, both or none."""
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
        if lot.lower().endswith(
            ".toml"
        ):  # a scenario refers to its lot file relative to its own folder
            lot = os.path.relpath(lot, Path(options.scenario).parent)
        text = scenario_toml(made.scenario, scenario_notes(made), lot)
        files.append((options.scenario, text))
    write_all(files)


STYLE = """
@page { size: PAPER portrait; margin: 10mm }
body { font: 10.5pt/1.3 "DejaVu Sans", Verdana, sans-serif; color: #222; max-width: 62em;
  margin: 1em auto; padding: 0 1em }
h1 { font-size: 1.6em; margin: 0 } h2 { font-size: 1.1em; margin: 1em 0 .3em;
  border-bottom: 2px solid #222; break-after: avoid }
.settings { display: grid; grid-template-columns: repeat(3, 1fr); gap: .6em }
.settings div { border: 2px solid #222; padding: .4em .6em; break-inside: avoid }
.settings b { display: block; font-size: 1.6em; line-height: 1.15 }
.settings small { display: block; color: #444 }
table { border-collapse: collapse; width: 100% } th { text-align: left; font-weight: normal;
  color: #555 } td, th { padding: .12em .6em .12em 0; vertical-align: top;
  border-bottom: 1px solid #ccc } tr > :first-child { white-space: nowrap }
tr.first td { font-weight: bold }
p { margin: .25em 0 } ul { list-style: none; padding: 0; margin: 0 }
li { padding-left: 1.6em; text-indent: -1.6em; break-inside: avoid }
.cautions { border: 3px solid #D55E00; padding: .2em .8em .5em; margin-top: 1em;
  break-inside: avoid } .cautions h2 { border: 0; margin-top: .2em }
.notes { color: #555; font-size: .85em }
""".strip()
PAPER = {"metric": "A4", "us": "letter"}


def sheet_html(sheet: Sheet, units: str = "metric", harvest: Harvest = NONE) -> str:
    """HTML page of a sheet, see `metersim.questions.sheet.text.blocks`.

    Parameters
    ----------
    sheet : Sheet
        Sheet to write.
    units : str
        ``metric`` or ``us``; this also chooses the size of paper.
    harvest : Harvest
        As for `metersim.questions.sheet.text.blocks`.
    """
    parts = blocks(sheet, units, harvest)
    body = "\n".join(map(_section, parts))
    style = STYLE.replace("PAPER", PAPER[units])
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(parts[0].title)}</title>\n<style>\n{style}\n</style>\n"
        f"</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _section(block: Block) -> str:
    if block.name == "asked":
        return f"<h1>{escape(block.title)}</h1>\n{_paragraphs(block.lines)}"
    head = f"<h2>{escape(block.title)}</h2>"
    if block.name == "settings":
        parts = [_setting(*row) for row in block.rows]
        return f'{head}\n<div class="settings">\n{"".join(parts)}</div>'
    if block.name == "do":
        items = "".join(f"<li>\N{BALLOT BOX} {escape(line)}</li>\n" for line in block.lines)
        return f"{head}\n<ul>\n{items}</ul>"
    body = (_table(block) if block.rows else "") + _paragraphs(block.lines)
    return f'<section class="{escape(block.name)}">\n{head}\n{body}\n</section>'


def _setting(what: str, value: str, note: str) -> str:
    said = (escape(part) for part in (what, value, note))
    return "<div>{}<b>{}</b><small>{}</small></div>\n".format(*said)


def _table(block: Block) -> str:
    head, *rows = block.rows
    lines = [f"<tr>{_cells(head, 'th')}</tr>"]
    for k, row in enumerate(rows):
        kind = ' class="first"' if block.name == "discs" and k == 0 else ""
        lines.append(f"<tr{kind}>{_cells(row, 'td')}</tr>")
    return "<table>\n" + "\n".join(lines) + "\n</table>\n"


def _cells(row: Iterable[str], tag: str) -> str:
    return "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in row)


def _paragraphs(lines: Iterable[str]) -> str:
    return "\n".join(f"<p>{escape(line)}</p>" for line in lines)
