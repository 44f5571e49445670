"""Files that a run leaves: JSON, CSV and trace, whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import math
import os
from collections.abc import Iterable, Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from metersim.faults import BadInput, Fault, bad
from metersim.files import replace_all
from metersim.indices import BY_KEY, SI_SUFFIX
from metersim.limits import causes, cautions
from metersim.measures import Measured
from metersim.records import REASONS, Origin, Run, Seeds
from metersim.sections import SECTIONS
from metersim.seedlot import VALUES
from metersim.sources import SOURCES
from metersim.spacing import class_counts
from metersim.studies.agronomy import Loss, Stand
from metersim.studies.measured import Counted
from metersim.studies.unknowns import Spread
from metersim.yields import Harvest

FIGURES = (".png", ".svg", ".pdf")
PICTURES = ("--figure", "--paths")
DATA = ("--json", "--csv", "--trace")  # which take the place of what is there
LIBRARIES = ("numpy", "scipy", "simpy")


def provenance(origin: Origin, replicates: int = 1) -> dict[str, Any]:
    """Where a run comes from: what was set, what chose the luck, and with which versions."""
    scenario = origin.scenario
    sections = {
        section: {name: getattr(part, name) for name in part.__dataclass_fields__}
        for section in SECTIONS
        for part in [getattr(scenario, section)]
    }
    for one in scenario.unknown:
        sections[one.section][one.name] = one.to_dict()
    return {
        "program": "metersim",
        "version": origin.version,
        "scenario": scenario.name,
        "title": scenario.title,
        "seed": origin.seed,
        "replicates": replicates,
        "changes": list(scenario.changes),
        "replaced_stations": dict(origin.replaced),
        "settings_si": sections,
        "lot": {
            "name": scenario.lot.name,
            "crop": scenario.lot.crop,
            "illustrative": scenario.lot.illustrative,
            "values_si": {name: getattr(scenario.lot, name) for name in VALUES},
        },
        "libraries": {name: version(name) for name in LIBRARIES},
    }


def as_json(
    measured: Measured,
    spread: Spread | None = None,
    stand: Stand | None = None,
    harvest: Harvest | None = None,
) -> str:
    """All measures as JSON, in SI, each as value, low and high; what draws gave; and plants."""
    made: dict[str, Any] = {
        "provenance": provenance(measured.origin, len(measured.tallies)),
        "interval_level": measured.level,
        "counts": measured.counts,
    }
    for key, estimate in measured.estimates.items():
        _put(made, key, estimate.to_dict())
    made["spacing"]["nominal_m"] = measured.scenario.spacing
    made["spacing"]["cp3_centre_m"] = measured.scenario.spacing
    made["skip_reasons"] = {
        REASONS[k]: int(cells) for k, cells in enumerate(measured.reasons) if k > 0
    }
    made["limits"] = [{"cause": cause.name, "share": cause.share} for cause in causes(measured)]
    made["cautions"] = cautions(measured.scenario)
    if spread:
        made["not_known"] = _not_known(spread)
    if stand:
        made["stand"] = _stand(stand, harvest or Harvest())
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def measured_json(found: Counted) -> str:
    """Measured spacings beside their prediction as JSON, in SI."""
    source, fit = found.source, found.fit
    made: dict[str, Any] = {
        "provenance": provenance(found.origin),
        "interval_level": found.level,
        "measured": {
            "file": source.where,
            "column": source.column,
            "spacings": found.size,
            "rows": len(found.rows),
            "classes": class_counts(np.concatenate(found.rows), 1.0).tolist(),
            "lag_correlation": _number(found.lag_correlation),
        },
        "predicted_spacings": len(found.predicted),
        "emergence": {"taken": found.emergence, "share": found.left},
        "fitted_spacings": fit.spacings if fit else 0,
    }
    for key, one in found.values.items():
        measured, predicted = one.measured.to_dict(), one.predicted.to_dict()
        told = {"measured": measured, "predicted": predicted, "differs": one.differs}
        _put(made, key, told, one.measure.kind)
    made["spacing"]["nominal_m"] = found.scenario.spacing
    made["spacing"]["cp3_centre_m"] = found.scenario.spacing
    made["cautions"] = cautions(found.scenario)
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def _put(made: dict[str, Any], key: str, value: Any, kind: str | None = None) -> None:
    """Set a measure's value at its dotted place, with its unit."""
    *groups, name = key.split(".")
    for group in groups:
        made = made.setdefault(group, {})
    made[name + SI_SUFFIX.get(kind or BY_KEY[key].kind, "")] = value


def _stand(stand: Stand, harvest: Harvest) -> dict[str, Any]:
    """Plants, and what each published relation takes off as a range, money with a price alone."""
    made: dict[str, Any] = {}
    for measure in stand.measured.measures:
        _put(made, measure.key, stand[measure.key].to_dict(), measure.kind)
    made["even_seeds_sd_m"] = _number(stand.even_sd)
    if stand.spread:
        made["not_known"] = _not_known(stand.spread)
    made["yield_as_published"] = [_loss(loss, harvest) for loss in stand.losses]
    return made


def _loss(loss: Loss, harvest: Harvest) -> dict[str, Any]:
    one, ends = loss.relation, (loss.low, loss.high)
    made: dict[str, Any] = {
        "relation": one.key,
        "source": SOURCES[one.source],
        "mark": one.mark,
        "says": one.says,
        "of": one.of,
        "none_found": one.none_found,
        "outside_what_was_studied": loss.outside,
    }
    columns = [("loss_kg_per_m2", harvest.in_yield), ("loss_share", harvest.in_share)]
    if harvest.price is not None:
        columns.append(("loss_money_per_m2", harvest.in_money))
    for name, to in columns:
        low, high = (_number(to(one, end)) for end in ends)
        made[name] = {"low": low, "high": high}
    return made


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value


def _not_known(spread: Spread) -> dict[str, Any]:
    """What draws gave: the median, and intervals of not knowing and of both."""
    ranges = {f"{one.section}.{one.name}": one.to_dict() for one in spread.unknowns}
    made: dict[str, Any] = {"draws": spread.size, "ranges_si": ranges}
    for key in spread.estimates:
        unknown, both = spread.unknown(key).to_dict(), spread.both(key).to_dict()
        told = {"unknown": unknown, "both": both, "told_from_luck": spread.is_told(key)}
        _put(made, key, told, spread.measures[key].kind)
    return made


SEED_COLUMNS = ("replicate", *Seeds.names)


def as_csv(runs: Sequence[Run]) -> str:
    """One row a seed, in SI; columns name their units."""
    rows = (
        (run.replicate, *row)
        for run in runs
        for row in zip(*(column.tolist() for _, column in run.seeds.columns()), strict=True)
    )
    return _csv(SEED_COLUMNS, rows)


def as_table(rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows with the same names, one or more, as CSV."""
    return _csv(tuple(rows[0]), (tuple(row.values()) for row in rows))


TRACE_COLUMNS = ("replicate", "time_s", "cell", "place", "station", "event", "why")


def as_trace(runs: Sequence[Run]) -> str:
    """Every event of every seed, with what happened and why."""
    head = "".join(
        f"# station '{name}' is replaced by {kind}\n" for name, kind in runs[0].replaced.items()
    )
    rows = (
        (run.replicate, event.time, *("" if n < 0 else n for n in event[1:3]), *event[3:])
        for run in runs
        for event in run.trace
    )
    return head + _csv(TRACE_COLUMNS, rows)


def _csv(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()


def check_writable(
    paths: Iterable[tuple[str, str | None]], inputs: Iterable[str | None] = ()
) -> None:
    """Refuse outputs that cannot be written, before any work is done.

    Parameters
    ----------
    paths : iterable of (str, str or None)
        Option and path of each output; None needs no check, nor ``-`` of ``--json``.
    inputs : iterable of str or None
        Files that no output may take the place of.

    Raises
    ------
    BadInput
        With every output that has no folder to go to, is a folder, is given twice, or might take
        the place of an input.
    """
    faults, taken = [], set()
    read = {os.path.realpath(name) for name in inputs if name and "\0" not in name}
    for option, name in paths:
        if name is None or (name == "-" and option == "--json"):
            continue
        path = Path(name)
        try:
            real = os.path.realpath(path)
            if real in taken:
                faults.append(Fault(option, name, "another output goes to the same file"))
            elif real in read:
                faults.append(Fault(option, name, "would take the place of an input"))
            elif name == "-":
                faults.append(Fault(option, name, "only --json prints; give a file"))
            elif option in DATA and path.suffix.lower() == ".toml":
                message = "is a name of scenarios and lots; give another ending"
                faults.append(Fault(option, name, message))
            elif option in PICTURES and path.suffix.lower() not in FIGURES:
                faults.append(Fault(option, name, f"must end in {' or '.join(FIGURES)}"))
            elif path.is_dir():
                faults.append(Fault(option, name, "is a folder; give a file"))
            elif not path.parent.is_dir():
                faults.append(Fault(option, name, f"there is no folder {path.parent}"))
            elif not os.access(path if path.exists() else path.parent, os.W_OK):
                faults.append(Fault(option, name, "cannot be written"))
            taken.add(real)
        except (OSError, ValueError) as error:  # a name that no file can have
            reason = getattr(error, "strerror", None) or error
            faults.append(Fault(option, name, f"cannot be written: {reason}"))
    if faults:
        raise BadInput(faults)


def write_all(files: Iterable[tuple[str, str | bytes]]) -> None:
    """Write files by name, all whole or none at all.

    Raises
    ------
    BadInput
        When one cannot be written; what was there before is still there.
    """
    try:
        replace_all(
            (Path(name), content.encode() if isinstance(content, str) else content)
            for name, content in files
        )
    except OSError as error:
        where = str(error.filename or "")
        raise bad(where, "", f"cannot be written: {error.strerror or error}") from None
