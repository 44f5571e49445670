"""Sources with known physics, small enough to fit in a moment: for tests of the fit itself."""

import numpy as np

from tests.validation.fit.emulator import Emulator
from tests.validation.fit.sources import Observed, Source
from tests.validation.fit.table import Table, Varied

CONDITION = "only"
TOY = Table(
    varied=(
        Varied(name="draw_slowness", centre=2.2, sd=0.6, spread=0.5, free=0.3),
        Varied(name="hop", centre=0.016, sd=0.5),
    ),
    discrepancy=(0.003, 0.3),  # too small to stand in for a spread between machines
    relative=(0.04, 0.3),
    accepted=-10.0,
    outlier=1e-9,
)


def linear(share, constant, *slopes):
    """An emulator whose predictor is a straight line."""
    many = len(slopes)
    line = np.array(slopes, float)
    return Emulator(share, constant, line, np.zeros((many, many)), np.zeros(many), 0.0, 1.0)


def toy_source(name, published=(0.97, 0.01, 0.02), precision=0.12):
    """A source with one test and a precision."""
    term = ("per_spacing.quality", "per_spacing.multiple", "per_spacing.miss")
    test = Observed(
        case=name,
        rows=("quality", "multiple", "miss"),
        sums=tuple(((1.0, CONDITION, key),) for key in term),
        published=published,
        decimals=(2, 2, 2),
        units=(0.01, 0.01, 0.01),
        kind="share",
        count=1000.0,
    )
    spread = Observed(
        case=name,
        rows=("precision",),
        sums=(((1.0, CONDITION, "precision"),),),
        published=(precision,),
        decimals=(2,),
        units=(0.01,),
        kind="spread",
        count=1000.0,
    )
    place = (name, CONDITION)
    return Source(name, (test, spread), {place: None}, {place: {}}, 1)


def toy_emulators(sources):
    """Slow machines miss more and have fewer multiples; hops spread the spacings."""
    found = {}
    for one in sources:
        where = (one.name, CONDITION)
        found[(*where, "cells.single")] = linear(True, 3.5, -0.7, 0.0)
        found[(*where, "per_spacing.multiple")] = linear(True, -4.2, -0.6, 0.2)
        found[(*where, "per_spacing.miss")] = linear(True, -3.9, 1.0, 0.1)
        found[(*where, "precision")] = linear(False, np.log(0.12), 0.0, 0.3)
    return found
