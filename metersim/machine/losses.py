"""All losses of a seed or a cell on the disc: one table, which all others follow.

These come from here: the codes in the records, their words, the columns that count lost seeds and
the causes of uneven spacing.  The table also says which losses a disc at rest hides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

RELEASED = "seed released"  # the words of code 0, which is no loss

# Words of the trace for the ways in which a seed leaves a hole.
IN_HEAP = "heap above the carry line"
NO_VACUUM = "no vacuum"
OFF_SEAT = "pushed further than its seat"
AT_TOOTH = "tooth {}"
TOO_LITTLE_VACUUM = "vacuum too low"
SHOCK = "shock of the row unit"


@dataclass(frozen=True, kw_only=True)
class Cause:
    """A cause of uneven spacing.

    Attributes
    ----------
    name : str
        Name in the table of losses.
    words : str
        Words in answers.
    from_losses : bool
        Whether losses count to it.  Other causes are counted from seeds and spacings.
    """

    name: str
    words: str
    from_losses: bool = True


@dataclass(frozen=True, kw_only=True)
class Loss:
    """Something that empties a cell or takes a seed from it.

    Attributes
    ----------
    name : str
        Name in the code.
    station : str
        Station where it happens.
    words : str
        Words in answers, tables and files.
    cause : str
        Name of the cause of uneven spacing that it counts to.
    column : str
        Column of `metersim.run.records.Cells` that counts the seeds that it takes.  It is empty
        when the loss comes before any seed joins.
    event : str
        Name of the event in the trace.
    at_rest : bool
        Whether a disc at rest still shows the seed that a turning disc loses.
    """

    name: str
    station: str
    words: str
    cause: str
    column: str = ""
    event: str = "cell empty"
    at_rest: bool = False

    @property
    def takes_a_seed(self) -> bool:
        """Whether the seed had joined the cell before."""
        return bool(self.column)


CAUSES = (
    Cause(name="blocked", words="blocked cells"),
    Cause(name="time to join", words="time for seeds to join the holes (disc speed, agitation)"),
    Cause(name="low pool", words="a low pool (gate, arches, hopper)"),
    Cause(name="vacuum", words="vacuum against the vacuum that seeds need"),
    Cause(name="empty pool", words="an empty pool (gate, arches, hopper)"),
    Cause(name="hopper", words="a hopper that runs empty", from_losses=False),
    Cause(name="high pool", words="a pool above the carry line"),
    Cause(name="singulator", words="a singulator that takes single seeds"),
    Cause(name="carry", words="seeds lost on the way round (shaking, vacuum)"),
    Cause(name="doubles", words="doubles that pass the singulator", from_losses=False),
    Cause(
        name="scatter",
        words="scatter of the fall and the landing (speed, tube, soil)",
        from_losses=False,
    ),
    Cause(name="plugged", words="plugged holes"),
)

LOSSES = (
    Loss(name="blocked", station="pickup", words="cell blocked", cause="blocked"),
    Loss(
        name="not joined",
        station="pickup",
        words="no seed was drawn to the hole in time",
        cause="time to join",
    ),
    Loss(
        name="dropped",
        station="pickup",
        words="seeds drawn were lost again before the hole left the pool",
        cause="time to join",
    ),
    Loss(
        name="low pool",
        station="pickup",
        words="pool too low to draw enough seeds from",
        cause="low pool",
    ),
    Loss(
        name="not held",
        station="pickup",
        words="seeds drawn would not hold at this vacuum",
        cause="vacuum",
    ),
    Loss(name="pool empty", station="pickup", words="pool empty", cause="empty pool"),
    Loss(
        name="knocked",
        station="pool",
        words="knocked off by a heap above the carry line",
        cause="high pool",
        column="knocked",
        event="knocked off",
    ),
    Loss(
        name="swept",
        station="singulator",
        words="swept off by the singulator",
        cause="singulator",
        column="swept",
        event="swept off",
    ),
    Loss(
        name="shaken",
        station="carry",
        words="shaken off on the way",
        cause="carry",
        column="shaken",
        event="shaken off",
        at_rest=True,
    ),
    # It comes before all others on the way.  It stands last so that codes of older results stay.
    Loss(name="plugged", station="pickup", words="hole plugged", cause="plugged"),
)


def check(losses: Sequence[Loss], causes: Sequence[Cause]) -> None:
    """Refuse a table of losses that would make answers incomplete.

    Parameters
    ----------
    losses, causes : sequence of Loss, sequence of Cause
        The table, and the causes that losses may count to.

    Raises
    ------
    ValueError
        For a name, words or a column given twice, for a loss whose cause no loss may count to, and
        for a cause of losses to which none counts.
    """
    columns = [loss.column for loss in losses if loss.takes_a_seed]
    lists = {
        "names of losses": [loss.name for loss in losses],
        "words of losses": [RELEASED, *(loss.words for loss in losses)],
        "columns of losses": columns,
        "names of causes": [cause.name for cause in causes],
        "words of causes": [cause.words for cause in causes],
    }
    for what, values in lists.items():
        if len(set(values)) < len(values):
            raise ValueError(f"{what} are {values}; each must be there once")
    allowed = [cause.name for cause in causes if cause.from_losses]
    for loss in losses:
        if loss.cause not in allowed:
            raise ValueError(
                f"loss '{loss.name}' counts to the cause {loss.cause!r}; allowed: "
                f"{', '.join(allowed)}"
            )
    idle = set(allowed) - {loss.cause for loss in losses}
    if idle:
        raise ValueError(f"no loss counts to the causes {sorted(idle)}; each needs one or more")


check(LOSSES, CAUSES)

REASONS = (RELEASED, *(loss.words for loss in LOSSES))
TAKING = tuple(loss for loss in LOSSES if loss.takes_a_seed)  # in the order of the way round
CODES = {loss.name: code for code, loss in enumerate(LOSSES, start=1)}
BY_NAME = {loss.name: loss for loss in LOSSES}
WORDS_OF_CAUSES = {cause.name: cause.words for cause in CAUSES}

SEEDED = 0
BLOCKED = CODES["blocked"]
NOT_JOINED = CODES["not joined"]
DROPPED = CODES["dropped"]
LOW_POOL = CODES["low pool"]
NOT_HELD = CODES["not held"]
POOL_EMPTY = CODES["pool empty"]
KNOCKED = CODES["knocked"]
SWEPT = CODES["swept"]
SHAKEN = CODES["shaken"]
PLUGGED = CODES["plugged"]
