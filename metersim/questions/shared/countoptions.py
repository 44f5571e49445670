"""Options of counts, of looks at a disc at rest, and of accepted shares, and their reading."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from functools import partial

from metersim.files.faults import BadInput, Fault, all_of, bad, percent, whole
from metersim.measures.indices import read_limit
from metersim.questions.shared.counts import MOST_COUNTED
from metersim.questions.shared.looks import BELT, DISC, SENSOR, Look, look_of_seeds

MOST_WANTED = 0.5  # share of skips, or of doubles, that a user may accept
UNEVEN = {"skips": -1, "doubles": 1, "triples": 2}
"""Seeds beyond one of each kind of cell."""
COUNTED_BY = {"belt": BELT, "sensor": SENSOR, "row": BELT, "disc": DISC}
"""Way of looking by how a count was made; a belt and the row show the same cells."""
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
