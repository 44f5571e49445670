"""Report of a sweep: varied settings, best and acceptable points, and importance."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from metersim.measures.indices import BY_KEY, Limit
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.limits import RESERVE, cautions
from metersim.questions.shared.answer import LINES, MOST_ROWS, Answer, capital, told
from metersim.questions.shared.notes import PROVE, STOPPED, beyond, level_text, not_known_text
from metersim.questions.shared.words import (
    block,
    interval_text,
    measure_name,
    number,
    plain_name,
    quantity,
    set_quantity,
    shown,
)
from metersim.questions.sweep.points import Axis, Point
from metersim.questions.sweep.response import Importance, Response

FEW_REPLICATES = 4  # replicates below which the SD of differences is uncertain
DESIGNS = {
    "grid": "every combination",
    "latin": "a Latin hypercube",
    "sobol": "Sobol' points",
    "importance": "samples for indices of importance",
}


MOST_NOTES = 3  # below the first sentences


def summary(
    response: Response,
    importance: Importance | None = None,
    units: str = "metric",
    details: bool = False,
) -> str:
    """The answer of a sweep: its best point, and the points next to it.

    Parameters
    ----------
    response : Response
        Response to report.
    importance : Importance, optional
        Shares of the variance, which then make the table.
    units : {'metric', 'us'}
        Units of the response; varied settings keep their own units.
    details : bool
        Whether to add the whole report.
    """
    first, rows = _first(response, units), _points(response, units)
    if importance is not None:
        said, rows = _shares(response, importance)
        first = [said, *first[:2]]
    limits = ", ".join(limit_text(one, units, plain_name) for one in response.limits)
    middle = [f"{one.text(units)} at its middle" for one in response.sweep.plan.unknown]
    found = Answer(
        caution="" if response.best is None else STOPPED,
        first=first,
        notes=_deciding(response, units)[:MOST_NOTES],
        assumes="; ".join([response.sweep.plan.base.title, f"acceptable: {limits}", *middle]),
        details=report(response, importance, units).splitlines(),
    )
    for many in range(len(rows), 2, -1):  # a terminal holds the answer
        found = replace(found, table=rows[:many])
        if len(found.text().splitlines()) <= LINES:
            break
    return found.text(details)


def _first(response: Response, units: str) -> list[str]:
    """Sentences on the best point, its value, and how many points are acceptable."""
    plan, kind, name = response.sweep.plan, BY_KEY[response.key].kind, plain_name(response.key)
    name = capital(name)
    values = response.values[:, 0]
    if not np.isfinite(values).any():
        return [f"{name}: no value at any point."]
    many, sure = int(response.acceptable.sum()), int(response.surely.sum())
    whole = f"{sure:,}" if sure else "none"
    kept = (
        f"Acceptable by the expected value: {many:,} of {plan.many:,} points. By the whole "
        f"interval: {whole}."
    )
    if response.best is None:
        ends = (set_quantity(kind, edge, units) for edge in (np.nanmin(values), np.nanmax(values)))
        return [
            f"{name}: {' to '.join(ends)}.",
            "Neither end is better, so no best is named.",
            kept,
        ]
    pairs = zip(plan.axes, plan.points[response.best], strict=True)
    value, interval = told(kind, response.total_of_best, units)
    return [
        f"Best of {plan.many:,} points: {', '.join(_setting(*pair, units) for pair in pairs)}.",
        f"{name} there: {value} ({level_text(LEVEL_TOTAL)} {interval}).",
        kept if many else "No point is acceptable. The best of all is named.",
    ]


def _setting(axis: Axis, word: str, units: str) -> str:
    """Name, value and unit of a setting."""
    name, symbol = _heading(axis, units)
    return f"{name} {axis.text(word, units)} {symbol}".rstrip()


def _heading(axis: Axis, units: str) -> tuple[str, str]:
    """Name and unit of a setting."""
    return axis.spec.name.replace("_", " "), axis.symbol(units)


def _deciding(response: Response, units: str) -> list[str]:
    """Notes that change the answer."""
    plan, found = response.sweep.plan, []
    for axis, word, can_go_on in response.at_end():
        more = "Widen it." if can_go_on else "No more is allowed."
        found.append(f"The best lies at an end of the range, {_setting(axis, word, units)}. {more}")
    if response.tied is not None and (others := int(response.tied.sum()) - 1):
        found.append(f"{others:,} other points cannot be distinguished from the best.")
    if response.best is not None:
        if any(axis.spec.name == "vacuum" for axis in plan.axes):
            found.append(f"{capital(RESERVE)}.")
        found += beyond(plan.job(response.best).made(), units)
    if faults := response.sweep.faults:
        found.append(f"{len(faults):,} of {plan.many:,} points are not possible.")
    return found


def _points(response: Response, units: str) -> list[tuple[str, ...]]:
    """Heads and the best points, at most eight, each with its total interval."""
    plan, kind = response.sweep.plan, BY_KEY[response.key].kind
    valid = np.flatnonzero(np.isfinite(response.values[:, 0]))
    if not valid.size:
        return []
    chosen = valid
    if valid.size > MOST_ROWS and response.best is None:
        chosen = valid[np.linspace(0, valid.size - 1, MOST_ROWS).round().astype(int)]
    elif valid.size > MOST_ROWS or len(plan.axes) > 1:
        worse = -response.sense * response.values[valid, 0]
        worst = ~response.acceptable[valid] & response.acceptable.any()
        chosen = valid[np.lexsort((worse, worst))][:MOST_ROWS]
    totals = response.totals(response.key)
    names = (
        " ".join(filter(None, (name, symbol and f"[{symbol}]")))
        for name, symbol in (_heading(axis, units) for axis in plan.axes)
    )
    rows = [(*names, _column(response), level_text(LEVEL_TOTAL), "")]
    for point in chosen.tolist():
        pairs = zip(plan.axes, plan.points[point], strict=True)
        words = (axis.text(word, units) for axis, word in pairs)
        status = "acceptable" if response.acceptable[point] else "not acceptable"
        status = "as good" if response.plateau[point] else status
        status = "best" if point == response.best else status
        total = response.total_of_best if point == response.best else Estimate(*totals[point])
        value, interval = told(kind, total, units)
        value = value if response.best is None else _behind(response, int(point), units)
        rows.append((*words, value, interval, status))
    return rows


def _column(response: Response) -> str:
    """Head of the column that compares points."""
    name = plain_name(response.key)
    if response.best is None:
        return name
    return f"{name}, {'less' if response.sense > 0 else 'more'} than the best"


def _behind(response: Response, point: int, units: str) -> str:
    """Distance of a point from the best, with the same random draws; shares in pp."""
    kind = BY_KEY[response.key].kind
    away = np.abs(response.values[point, 0] - response.values[response.best, 0])
    value, symbol = shown(kind, float(away), units)
    return f"{value:.2g} {'pp' if kind == 'share' else symbol}".rstrip() if value else "-"


def _shares(response: Response, found: Importance) -> tuple[str, list[tuple[str, ...]]]:
    """A sentence on the most important key, and heads and shares of at most eight keys."""
    plan, totals = response.sweep.plan, found.total[:, 0]
    name = plain_name(response.key)
    if not np.isfinite(totals).any():
        return f"Nothing that was varied moves {name}.", []
    order = np.argsort(-np.nan_to_num(totals, nan=-math.inf))
    heads = ("share of the variance", "alone", "95 % interval", "in all", "95 % interval")
    rows: list[tuple[str, ...]] = [heads]
    first, total = (np.clip(part, 0, 1) for part in (found.first, found.total))
    for place in order[:MOST_ROWS]:
        ends = [
            (f"{v:.0%}", f"{low:.0%} to {high:.0%}")
            for v, low, high in (first[place], total[place])
        ]
        cells = (cell.replace("%", " %") for end in ends for cell in end)
        rows.append((_heading(plan.axes[place], "")[0], *cells))
    most = int(order[0])
    share = f"{total[most, 0]:.0%}".replace("%", " %")
    return f"Most important for {name}: {rows[1][0]}, {share} of the variance in all.", rows


def limit_text(
    limit: Limit, units: str = "metric", name: Callable[[str], str] = measure_name
) -> str:
    """A limit in words."""
    side = "at most" if limit.sign == "<=" else "at least"
    kind = BY_KEY[limit.key].kind
    return f"{name(limit.key)} {side} {set_quantity(kind, limit.value, units)}"


def point_text(axes: Sequence[Axis], point: Point) -> str:
    """Settings of a point in the form of a scenario file."""
    pairs = zip(axes, point, strict=True)
    return ", ".join(f"{axis.key}={axis.text(word)}" for axis, word in pairs)


def room_text(response: Response) -> str:
    """Tolerance of a plateau in words."""
    unit = "percentage points" if BY_KEY[response.key].kind == "share" else "%"
    return f"within {response.tolerance:g} {unit} of the best"


def report(response: Response, importance: Importance | None = None, units: str = "metric") -> str:
    """Report of a sweep."""
    plan = response.sweep.plan
    base = plan.base
    changed = "".join(f", {change}" for change in plan.changes)
    repeat = f", {plan.replicates} replicates each" if plan.replicates > 1 else ""
    lines = [
        f"{base.title} ({base.name}{changed}, random seed {plan.seed}, metersim {plan.version})",
        "",
        *block("Varied", [_axis_text(axis, plan.design) for axis in plan.axes]),
        *block(
            "", [f"{DESIGNS[plan.design]}: {plan.many:,} points with common random numbers{repeat}"]
        ),
        *block("", ["intervals in the file of the rows hold sampling error alone"]),
        *(block("", [not_known_text(plan.unknown, units)]) if plan.unknown else []),
        "",
        *_best(response, units),
        *_acceptable(response, units),
    ]
    if importance is not None:
        lines += ["", *_importance(response, importance, units)]
    if found := notes(response, units):
        lines += ["", *block("Note", found)]
    return "\n".join([*lines, "", PROVE])


def _axis_text(axis: Axis, design: str) -> str:
    if axis.words:
        return f"{axis.key}: {', '.join(axis.words)}"
    steps = f", {axis.count} values" if design == "grid" else ""
    return f"{axis.key} from {axis.low:g} to {axis.high:g}{steps}"


def _best(response: Response, units: str) -> list[str]:
    plan, kind, name = response.sweep.plan, BY_KEY[response.key].kind, measure_name(response.key)
    if response.best is None:
        values = response.values[:, 0]
        if not np.isfinite(values).any():
            return block("Response", [f"{name} has no value at any point"])
        ends = (quantity(kind, edge, units) for edge in (np.nanmin(values), np.nanmax(values)))
        said = f"{name} from {' to '.join(ends)}; neither end is better, so no best is named"
        return block("Response", [said])
    estimate = response.total_of_best
    lines = [
        point_text(plan.axes, plan.points[response.best]),
        f"{name} {quantity(kind, estimate.value, units)}, {level_text(LEVEL_TOTAL)} "
        f"{interval_text(kind, estimate, units)}",
    ]
    inside = [point for point, kept in zip(plan.points, response.plateau, strict=True) if kept]
    wide = [f"{room_text(response)}: {len(inside):,} of {plan.many:,} points"]
    if len(inside) > 1:
        wide += [_spread(axis, words) for axis, words in _by_axis(plan.axes, inside)]
        if _in_box(response, inside) > len(inside):
            wide.append("not every combination of these is as good")
    lines = [*block("Best", lines), *block("Plateau", wide)]
    tied = response.tied
    if tied is not None:
        others = int(tied.sum()) - 1
        said = f"{others:,} other points cannot be distinguished from the best with "
        said += f"{plan.replicates} replicates (paired, 95 %, sampling error alone)"
        few = ["so few replicates detect little: give 5 or more"]
        lines += block("Alike", [said, *(few if plan.replicates < FEW_REPLICATES else [])])
    return lines


def _by_axis(axes: Sequence[Axis], points: Sequence[Point]) -> list[tuple[Axis, list[str]]]:
    columns = (list(dict.fromkeys(words)) for words in zip(*points, strict=True))
    return list(zip(axes, columns, strict=True))


def _spread(axis: Axis, words: Sequence[str]) -> str:
    """Values of an axis as a range, or as a list."""
    if not axis.is_number:
        return f"{axis.key}: {', '.join(words)}"
    low, high = (axis.text(edge(words, key=axis.number)) for edge in (min, max))
    return f"{axis.key} {low} to {high}" if low != high else f"{axis.key} {low}"


def _in_box(response: Response, inside: Sequence[Point]) -> int:
    """Number of points of the sweep within the ranges of a plateau."""
    plan = response.sweep.plan
    kept = np.ones(plan.many, dtype=bool)
    columns = zip(*plan.points, strict=True)
    for (axis, words), column in zip(_by_axis(plan.axes, inside), columns, strict=True):
        if axis.is_number:
            numbers = [axis.number(word) for word in words]
            values = np.array([axis.number(word) for word in column])
            kept &= (values >= min(numbers)) & (values <= max(numbers))
        else:
            kept &= np.isin(column, words)
    return int(kept.sum())


def _acceptable(response: Response, units: str) -> list[str]:
    many, sure = int(response.acceptable.sum()), int(response.surely.sum())
    said = f"{many:,} of {response.sweep.plan.many:,} points"
    if many:
        said += f" by the expected value, {sure:,} by the whole {level_text(LEVEL_TOTAL)}"
    limits = ", ".join(limit_text(limit, units) for limit in response.limits)
    return block("Acceptable", [said, limits, f"({response.source})"])


def _importance(response: Response, importance: Importance, units: str) -> list[str]:
    plan, kind = response.sweep.plan, BY_KEY[response.key].kind
    size, symbol = shown(kind, importance.sd, units)
    symbol = "percentage points" if kind == "share" else symbol
    name = measure_name(response.key)
    lines = [
        f"Importance for {name}, whose SD over the ranges is {number(size)} {symbol}",
        f"{'':22}{'alone (95 % interval)':26}{'in all (95 % interval)'}",
    ]
    for axis, first, total in zip(plan.axes, importance.first, importance.total, strict=True):
        cells = (
            "no value" if math.isnan(value) else f"{value:z.2f} ({low:z.2f} to {high:z.2f})"
            for value, low, high in (first, total)
        )
        lines.append("".join([f"{axis.key:22}", *(f"{cell:26}" for cell in cells)]).rstrip())
    lines += [
        "alone: share of the variance that a key explains by itself (first-order index);",
        "in all: together with what it does in combination with others (total index)",
    ]
    if math.isnan(importance.sampling):
        lines.append(
            "All points have the same random draws; with --replicates 4 the share of the "
            "sampling error is known"
        )
    else:
        share = f"{importance.sampling:.1%}".replace("%", " %")
        lines.append(f"Sampling error makes {share} of the variance")
    return lines


def notes(response: Response, units: str = "metric") -> list[str]:
    """Notes for the reader of a sweep."""
    plan, found = response.sweep.plan, []
    for axis, word, can_go_on in response.at_end():
        end = f"the best lies at the end of the range of {axis.key} ({axis.text(word)})"
        found.append(f"{end}: widen it" if can_go_on else f"{end}, which is all that is allowed")
    if response.best is not None:
        if not response.acceptable.any():
            found.append("no point is acceptable; the best of all is named")
        if plan.many > 1:
            found.append("sampling error influences which of many points is called the best")
        found += cautions(plan.job(response.best).made(), units)
    found += [doubt for doubt in doubts(response, units) if doubt not in found]
    if faults := response.sweep.faults:
        point, fault = next(iter(faults.items()))
        said = point_text(plan.axes, plan.points[point])
        found.append(f"{len(faults):,} points are not possible, such as {said}: {fault}")
    return found


def doubts(response: Response, units: str = "metric") -> list[str]:
    """Cautions on points that published studies do not cover.

    A caution of all points is given once.  Others name the number of points and one of them.
    """
    sweep, plan, found = response.sweep, response.sweep.plan, []
    if response.best is not None and any(axis.spec.name == "vacuum" for axis in plan.axes):
        found.append(RESERVE)
    possible = (point for point in range(plan.many) if point not in sweep.faults)
    said = {point: cautions(plan.job(point).made(), units) for point in possible}
    first, *others = said.values() or [[]]
    of_all = [text for text in first if all(text in texts for texts in others)]
    found += of_all
    rest = {point: [one for one in texts if one not in of_all] for point, texts in said.items()}
    if own := {point: texts for point, texts in rest.items() if texts}:
        least = min(own, key=lambda point: len(own[point]))
        found.append(
            f"{len(own):,} of {plan.many:,} points lie outside what published cases cover, "
            f"such as {point_text(plan.axes, plan.points[least])}: {own[least][0]}"
        )
    return found
