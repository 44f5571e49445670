"""Sources of published levels: their conditions, open inputs, and what was observed.

One laboratory with its stand is one source.  Level rows of one test become one observation: its
quality, multiple and miss are counts of the same spacings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from metersim.measures.indices import BY_KEY
from metersim.questions.evidence.printed import NO_UNIT, SPACINGS, UNITS
from metersim.questions.shared.cases import load_case, shipped_cases
from metersim.questions.shared.unseen import OUTLIERS

SPREADS = ("precision", "spacing.cv", "spacing.sd", "drop_time.sd")  # an SD, or one over a length
NOT_FITTED = {  # measures that are predicted, but do not enter the likelihood
    "drop_time.sd": "derived from the precision in the same case",
    "most_on_a_hole": "a maximum, which grows with the length of a run",
}


@dataclass(frozen=True)
class Observed:
    """Level rows that one observation explains.

    Attributes
    ----------
    case : str
        Name of the case.
    rows : tuple of str
        Names of the rows.
    sums : tuple of tuple of tuple
        For each row its terms: weight, condition, measure.
    published : tuple of float
        Published values in SI.
    decimals : tuple of int
        Printed decimals of each value, in its published unit.
    units : tuple of float
        Published units in SI.
    kind : str
        ``share``, ``spread``, ``mean`` or ``other``.
    count : float
        Spacings counted for one condition.
    machines : int
        Machines over which the source gives a mean.
    group : str
        Group of the rows.
    held_back : bool
        Whether the case is held back.
    unseen : bool
        Whether the observation is kept out of the likelihood: it is held back, or its meter is
        of another kind.
    """

    case: str
    rows: tuple[str, ...]
    sums: tuple[tuple[tuple[float, str, str], ...], ...]
    published: tuple[float, ...]
    decimals: tuple[int, ...]
    units: tuple[float, ...]
    kind: str
    count: float
    machines: int = 1
    group: str = ""
    held_back: bool = False
    unseen: bool = False

    @property
    def measure(self):
        """Measure of the first row."""
        return self.sums[0][0][2]

    @property
    def fitted(self):
        """Whether the observation enters the likelihood."""
        return not self.unseen and self.measure not in NOT_FITTED

    @property
    def total(self):
        """Spacings counted for all conditions of the observation."""
        return self.count * len({condition for _, condition, _ in self.sums[0]})


@dataclass(frozen=True)
class Source:
    """All published levels of one laboratory.

    Attributes
    ----------
    name : str
        Its laboratory.
    observed : tuple of Observed
        What it published.
    conditions : dict
        Conditions that the levels need, by case and name.
    opened : dict
        Open inputs of each condition by name; conditions share an input by its name.
    machines : int
        Most machines over which one of its values is a mean.
    """

    name: str
    observed: tuple[Observed, ...]
    conditions: dict
    opened: dict
    machines: int

    @property
    def inputs(self):
        """All open inputs by name."""
        return {name: u for own in self.opened.values() for name, u in own.items()}

    @property
    def fitted(self):
        """Whether any of its observations enters the likelihood."""
        return any(one.fitted for one in self.observed)

    @property
    def crops(self):
        """Crops of its fitted observations."""
        cases = {one.case for one in self.observed if one.fitted}
        return {c.parts[0].lot.crop for (case, _), c in self.conditions.items() if case in cases}


def sources_of(cases=None, *, open_all=False, fit_all=False):
    """Sources with at least one level row, from shipped cases.

    Parameters
    ----------
    cases : sequence of Case, optional
        By default all shipped ones.
    open_all : bool
        Whether to take cases that are held back, which are then predicted.
    fit_all : bool
        Whether these enter the likelihood as well.

    Returns
    -------
    list of Source
    """
    cases = cases if cases is not None else [load_case(name) for name in shipped_cases()]
    found = {}
    for case in cases:
        if case.held_back and not open_all:
            continue
        for one in observed_of(case):
            unlike = case.name in OUTLIERS or case.laboratory in OUTLIERS
            one = replace(one, unseen=unlike or (one.held_back and not fit_all))
            found.setdefault(case.laboratory, []).append((case, one))
    return [_source(name, pairs) for name, pairs in found.items()]


def _source(name, pairs):
    """A source of pairs of a case and an observation."""
    conditions, opened = {}, {}
    for case, one in pairs:
        for terms in one.sums:
            for _, condition, _ in terms:
                conditions[case.name, condition] = case.conditions[condition]
                opened[case.name, condition] = open_inputs(case, case.conditions[condition])
    observed = tuple(one for _, one in pairs)
    most = max(one.machines for one in observed)
    return Source(name, observed, conditions, opened, most)


def open_inputs(case, condition):
    """Open inputs of a condition by name: of its scenarios, and of a case's plants."""
    found = {
        f"{u.section}.{u.name}": u for part in condition.parts for u in condition.unknown(part)
    }
    return found | {f"{u.section}.{u.name}": u for u in case.unknown}


def observed_of(case):
    """Observations of the level rows of a case."""
    groups = {}
    for row in case.rows:
        if row.kind == "level":
            terms = tuple((t.weight, t.condition, t.measure) for t in row.terms)
            groups.setdefault(_test(row, terms), []).append((row, terms))
    return [_observed(case, rows) for rows in groups.values()]


def _test(row, terms):
    """Rows with the same key are shares of the same count."""
    family = row.measure.split(".")[0]
    weights = tuple((weight, condition) for weight, condition, _ in terms)
    shares = kind_of(row.measure) == "share" and len({c for _, c in weights}) == len(weights)
    return (family, weights) if shares else row.name


def kind_of(measure):
    """How a measure is observed."""
    if measure in SPREADS:
        return "spread"
    if measure not in BY_KEY:
        return "other"
    one = BY_KEY[measure]
    return "share" if one.kind == "share" and one.top else "mean"


def _observed(case, rows):
    kinds = [BY_KEY[row.measure].kind if row.measure in BY_KEY else row.measure for row, _ in rows]
    units = tuple(UNITS.get(kind, NO_UNIT)[1] for kind in kinds)
    texts = [str(row.stated["published"]) for row, _ in rows]
    first = rows[0][0]
    return Observed(
        case=case.name,
        rows=tuple(row.name for row, _ in rows),
        sums=tuple(terms for _, terms in rows),
        published=tuple(float(t) * unit for t, unit in zip(texts, units, strict=True)),
        decimals=tuple(len(text.partition(".")[2]) for text in texts),
        units=units,
        kind=kind_of(first.measure),
        count=float(first.stated.get("spacings", SPACINGS)),
        machines=int(case.machines),
        group=str(first.stated.get("group", "")),
        held_back=bool(case.held_back),
    )


def place_of(latent):
    """Quantile of an open input from a standard normal number."""
    return np.clip(ndtr(latent), 1e-9, 1 - 1e-9)


def feature_of(unknown, place):
    """Input of the emulators from a quantile: about linear in the value, with an SD of 1."""
    place = np.asarray(place)
    if unknown.form == "normal":
        return ndtri(place)
    if unknown.form == "among":
        many = len(unknown.stated)
        step = np.floor(place * many).clip(max=many - 1) - (many - 1) / 2
        return step / max(np.sqrt((many**2 - 1) / 12), 1.0 if many == 1 else 0.0)
    return np.sqrt(12) * (place - 0.5)
