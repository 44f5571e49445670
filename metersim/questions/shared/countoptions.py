"""Options of counts, looks, accepted shares and lines of a log of counts, and their reading."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from datetime import date
from functools import partial
from pathlib import Path

from metersim.files.alone import alone
from metersim.files.faults import BadInput, Fault, all_of, bad, hint, percent, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.scenario import Scenario
from metersim.measures.indices import read_limit
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.countlog import entry_of, read_history, with_entry
from metersim.questions.shared.counts import MOST_COUNTED
from metersim.questions.shared.history import (
    BRUSHED,
    EVENTS,
    NEW_LOT,
    Entry,
    Line,
    check_date,
    current,
    event_of,
    rows_in,
)
from metersim.questions.shared.looks import BELT, COUNTED_BY, DISC, Look, look_of_seeds
from metersim.questions.shared.words import plural

MOST_WANTED = 0.5  # share of skips, or of doubles, that a user may accept
UNEVEN = {"skips": -1, "doubles": 1, "triples": 2}
"""Seeds beyond one of each kind of cell."""
ACCEPTED = ("cells.skip", "cells.double")


def count_options(command: argparse.ArgumentParser, counted: str, of: str = "") -> None:
    """Add options of a count: seeds, skips, doubles and triples, and how it was made."""
    add = command.add_argument
    add("--counted", metavar="N", help=counted)
    for kind in UNEVEN:
        usual = " (0)" if kind == "triples" else ""
        said = f"{of}{kind} counted, or a percentage of the cells, rounded to a whole count{usual}"
        add(f"--{kind}", metavar="N|P%", help=said.replace("%", "%%"))
    add(
        "--counted-by",
        choices=tuple(COUNTED_BY),
        help="how the count was made: seeds on a belt, pulses of the sensor, seeds in the row, or "
        "cells of a disc at rest (belt)",
    )


def accept_option(command: argparse.ArgumentParser, usual: str) -> None:
    """Add the option of the accepted shares of skips and doubles."""
    command.add_argument(
        "--accept",
        action="append",
        default=[],
        metavar="'MEASURE<=VALUE'",
        help="acceptance limit of cells.skip or cells.double, which counts triples too, such as "
        f"'cells.skip<=2%%'; may be repeated ({usual})",
    )


def accepted_of(options: argparse.Namespace) -> list[float | None]:
    """Accepted shares of skips and of doubles; None where no limit is given. [1]"""
    found: dict[str, float | None] = dict.fromkeys(ACCEPTED)
    faults: list[Fault] = []
    for text in options.accept:
        try:
            limit = read_limit(text)
        except BadInput as error:
            faults += error.faults
            continue
        complaint = ""
        if limit.key not in ACCEPTED or limit.sign != "<=":
            complaint = "give cells.skip<=VALUE or cells.double<=VALUE"
        elif limit.value > MOST_WANTED:
            complaint = f"must be from 0 to {100 * MOST_WANTED:g} %"
        elif found[limit.key] is not None:
            complaint = f"{limit.key} has two limits; give only one"
        else:
            found[limit.key] = limit.value
        if complaint:
            faults.append(Fault("--accept", text, complaint))
    if sum(share or 0 for share in found.values()) >= 1:
        faults.append(Fault("--accept", "", "leaves no cell with a single seed"))
    if faults:
        raise BadInput(faults)
    return [*found.values()]


def disc_options(command: argparse.ArgumentParser) -> None:
    """Add options of a look at the disc at rest."""
    add = command.add_argument
    add("--cells-seen", metavar="N", help="cells looked at on the disc at rest, after the edge")
    add("--cells-loaded", metavar="N", help="those with a seed or more")
    add("--cells-doubled", metavar="N", help="those with two or more, if they were counted")


def count_of(options: argparse.Namespace) -> list[Look]:
    """Count of seeds, if the options give one."""
    needed = ("counted", "skips", "doubles")
    if not _are_given(options, needed, ("triples",)):
        if options.counted_by is not None:
            message = "goes with a count; give --counted, --skips, --doubles"
            raise bad("--counted-by", options.counted_by, message)
        return []
    return [look_of_seeds(*numbers_of(options), way_of(options))]


def way_of(options: argparse.Namespace) -> str:
    """Way of looking by which a count was made."""
    return BELT if options.counted_by is None else COUNTED_BY[options.counted_by]


def numbers_of(options: argparse.Namespace) -> tuple[int, int, int, int]:
    """Counted seeds, skips, doubles and triples.

    A percentage is one of the cells, and becomes the nearest whole count.  Cells follow from the
    seeds: a cell with one seed has one, a skip none, a double two, and a triple three.
    """
    words = {kind: (getattr(options, kind) or "0").strip() for kind in UNEVEN}
    seeds, *parts = all_of(
        partial(whole, "--counted", options.counted, 0, MOST_COUNTED),
        *(partial(_counted, f"--{kind}", word) for kind, word in words.items()),
    )
    if sum(parts[k] for k, word in enumerate(words.values()) if word.endswith("%")) > 1:
        raise bad("count", "", "skips, doubles and triples are more than 100 % of the cells")
    cells, per_cell = float(seeds), 1.0
    for (kind, word), part in zip(words.items(), parts, strict=True):
        if word.endswith("%"):
            per_cell += UNEVEN[kind] * part
        else:
            cells -= UNEVEN[kind] * part
    if per_cell <= 0:
        raise bad("--skips", words["skips"], "leaves no cell with a seed; give counts")
    cells = max(cells / per_cell, 0.0)
    skips, doubles, triples = (
        math.floor(part * cells + 0.5) if word.endswith("%") else part
        for word, part in zip(words.values(), parts, strict=True)
    )
    return seeds, skips, doubles, triples


def _counted(option: str, word: str) -> float:
    """A count, or a share [1] where the word ends in %."""
    if word.endswith("%"):
        return percent(option, word.removesuffix("%").strip())
    return whole(option, word, 0, MOST_COUNTED)


def _are_given(options: argparse.Namespace, needed: Sequence[str], more: Sequence[str]) -> bool:
    """Whether options that belong together are given; raises `BadInput` if some are missing."""
    words = {name: getattr(options, name.replace("-", "_")) for name in (*needed, *more)}
    if all(word is None for word in words.values()):
        return False
    lacking = [name for name in needed if words[name] is None]
    given = " and ".join(f"--{name}" for name in words if words[name] is not None)
    all_of(
        *(
            partial(_counted if name in UNEVEN else _number, f"--{name}", word)
            for name, word in words.items()
            if word is not None
        ),
        *(partial(_lacks, f"--{name}", given) for name in lacking),
    )
    return True


def _number(option: str, word: str) -> int:
    return whole(option, word, 0, MOST_COUNTED)


def _lacks(option: str, given: str) -> None:
    raise bad(option, "", f"is needed with {given}; give 0 when there were none")


def disc_of(options: argparse.Namespace) -> list[Look]:
    """Look at the disc at rest, if the options give one."""
    if not _are_given(options, ("cells-seen", "cells-loaded"), ("cells-doubled",)):
        return []
    words = (options.cells_seen, options.cells_loaded, options.cells_doubled)
    cells, loaded, doubled = (int(word or 0) for word in words)
    faults: list[Fault] = []
    if not cells:
        faults.append(Fault("--cells-seen", "0", "no cell was looked at; give 1 or more"))
    if loaded > cells:
        message = f"is more than the {cells} cells seen"
        faults.append(Fault("--cells-loaded", str(loaded), message))
    if doubled > loaded:
        message = f"is more than the {loaded} cells loaded, in which those doubled are counted too"
        faults.append(Fault("--cells-doubled", str(doubled), message))
    if faults:
        raise BadInput(faults)
    several = doubled if options.cells_doubled is not None else None
    return [Look(cells=cells, skips=cells - loaded, doubles=several, way=DISC)]


NOT_WITH_EVENTS = (
    *("counted", "skips", "doubles", "triples", "counted_by", "cells_seen", "cells_loaded"),
    *("cells_doubled", "json", "figure"),
)


def line_options(command: argparse.ArgumentParser, of: str = "") -> None:
    """Add options of a count that is added to a log."""
    add = command.add_argument
    add("--row", metavar="NAME", help=f"{of}which row of the machine")
    date_option(command, of)
    add("--meter", metavar="NAME", help=f"{of}which meter is in the row, if meters are swapped")
    add("--surface", metavar="NAME", help=f"{of}bench, road or field (that of the scenario)")


def date_option(command: argparse.ArgumentParser, of: str) -> None:
    """Add the option of the day of a line of a log."""
    command.add_argument("--date", metavar="DAY", help=f"{of}such as 2027-05-01 (today)")


def day_of(options: argparse.Namespace) -> str:
    """Day of a line of a log; today unless it is given."""
    if options.date is None:
        return date.today().isoformat()
    check_date(options.date or "-", "--date")
    return str(options.date)


def line_of(options: argparse.Namespace, scenario: Scenario) -> Entry:
    """Count that is added to a log, with the settings of a scenario."""
    named = scenario.meter.title if scenario.meter else ""
    return entry_of(
        scenario,
        options.row,
        *numbers_of(options),
        options.counted_by or BELT,
        date=day_of(options),
        lot=scenario.lot.name,
        meter=named if options.meter is None else options.meter,
        surface=(options.surface or scenario.furrow.surface).lower(),
    )


def event_option(command: argparse.ArgumentParser) -> None:
    """Add the options of an event between counts of a log."""
    command.add_argument(
        "--event",
        metavar="WORDS",
        help=f"add an event to the log: {', '.join(EVENTS)}, and a note behind it, such as "
        "'repaired: new edge'; without --row it is one of all rows",
    )
    date_option(command, "with --event: ")


def event_answer(options: argparse.Namespace) -> str:
    """Add an event to a log, and say what follows from it.

    Raises
    ------
    BadInput
        When an option is wrong, or there is no such log or row.
    """
    if options.log is None:
        raise bad("--event", options.event, "goes into a log of counts; give --log FILE, too")
    for name in NOT_WITH_EVENTS:
        if getattr(options, name) is not None:
            message = f"is a line of its own; leave out --{name.replace('_', '-')}"
            raise bad("--event", options.event, message)
    path = Path(options.log)
    day, history, _ = all_of(
        lambda: day_of(options),
        lambda: read_history(path),
        lambda: check_writable([("--log", options.log)], [options.scenario]),
    )
    row = "" if options.row is None else row_of(history, options.log, options.row)
    try:
        event = event_of(options.event, row, day)
    except BadInput as error:
        raise BadInput(Fault("--event", one.key, one.message) for one in error.faults) from None
    with alone(path):
        write_all([(options.log, with_entry(path, event))])
    of = f"row {row}" if row else "all rows"
    way = " by the sensor" if event.kind == BRUSHED else ""
    again = "Count again with the new seed" if event.kind == NEW_LOT else "Count again"
    later = sum(isinstance(line, Entry) and line.date > event.date for line in history)
    notes = [f"The log has {later} {plural(later, 'count')} of later days."] if later else []
    return Answer(
        notes=notes,
        first=[
            f"Added to {options.log}: {of}, {event.text}, {event.date}.",
            f"Counts of {of}{way} before it are not pooled with later ones.",
            f"{again}, and add the count with 'howmany --add {options.log}'.",
        ],
    ).text()


def row_of(history: Sequence[Line], log: str, row: str | None) -> str:
    """The row of a log that an option names, or its only one.

    Raises
    ------
    BadInput
        When there is no such row, or no count.
    """
    rows = rows_in(history)
    if not rows:
        raise bad("--log", log, "holds no count yet")
    if row is None and len(rows) > 1:
        raise bad("--row", "", f"which row of {log}? {hint('', rows)}")
    if row is not None and row not in rows:
        raise bad("--row", row, f"no such row in {log}; {hint(row, rows)}")
    return rows[0] if row is None else row


def counts_of_row(
    history: Sequence[Line], log: str | None, row: str | None, scenario: Scenario, counted: bool
) -> tuple[list[Entry], list[str]]:
    """Counts of a row that are of its present meter and seed, and notes on those that are not.

    Parameters
    ----------
    history : sequence of Entry and Event
        Lines of the log.
    log : str or None
        Its name; None without a log.
    row : str or None
        Its row, which may be left out when it is the only one.
    scenario : Scenario
        The meter with its present lot and surface.
    counted : bool
        Whether there is a present count beside those of the log.

    Raises
    ------
    BadInput
        When no count is left.
    """
    if log is None or (counted and not rows_in(history)):
        return [], []
    name = row_of(history, log, row)
    place = {"lot": scenario.lot.name, "surface": scenario.furrow.surface} if counted else {}
    entries, dropped, since = current(history, name, **place)
    if not entries and not counted:
        message = f"has no count in {log} after this change: {since}; count it first"
        raise bad("--row", name, message)
    notes = []
    if dropped:
        verb = "are" if dropped > 1 else "is"
        notes.append(
            f"{dropped} older {plural(dropped, 'count')} {verb} not used; changed since: {since}"
        )
    stated = [entry.lot for entry in entries if entry.lot]
    if stated and stated[-1] != scenario.lot.name:
        notes.append(
            f"the log has counts of lot {stated[-1]}, and {scenario.name} has {scenario.lot.name}"
        )
    return entries, notes
