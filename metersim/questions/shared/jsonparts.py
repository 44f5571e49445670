"""Parts of JSON that several questions write: counts, plants, yield losses, and intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from metersim.machine.load import speed_kept
from metersim.machine.losses import REASONS
from metersim.machine.sources import SOURCES
from metersim.measures.estimates import Measured
from metersim.measures.indices import number_or_none, put
from metersim.measures.limits import causes, cautions
from metersim.measures.yields import Harvest
from metersim.questions.shared.hedges import fixed_words, hedge_words, no_relation
from metersim.questions.shared.plants import Loss, Stand
from metersim.questions.shared.spread import Spread


def emptied_json(measured: Measured) -> dict[str, Any] | None:
    """Where and when the hopper of a run is empty and its pool begins to starve, if it does."""
    end = measured.emptied
    if end is None:
        return None
    scenario = measured.scenario
    return {
        "cell": end.cell,
        "distance_m": end.cell * scenario.spacing / speed_kept(scenario),
        "time_s": end.time,
        "pool_seeds": end.pool,
    }


def counted_json(measured: Measured, whole: Measured) -> dict[str, Any]:
    """What was counted: of the measured part of a row, and where the whole row starves."""
    return {
        "interval_level": measured.level,
        "turns_at_least": measured.turns_at_least,
        "hopper_emptied": emptied_json(whole),
        "counts": measured.counts,
    }


def lost_json(measured: Measured, whole: Measured) -> dict[str, Any]:
    """Skips and spilt seed of the measured part of a row, and causes in the whole row."""
    return {
        "skip_reasons": {
            REASONS[k]: int(cells) for k, cells in enumerate(measured.reasons) if k > 0
        },
        "spilt": {
            "seeds": measured.spilt,
            "mass_kg": measured.spilt * measured.scenario.seeds.seed_mass,
            "share_of_seed_used": measured.spilt_share,
        },
        "limits": [{"cause": cause.name, "share": cause.share} for cause in causes(whole)],
        "cautions": cautions(measured.scenario),
    }


def plants_json(stand: Stand) -> dict[str, Any]:
    """Measures of plants, and the spread that perfectly even seeds would leave."""
    made: dict[str, Any] = {}
    for measure in stand.measured.measures:
        put(made, measure.key, stand.reach(measure.key).to_dict(), measure.kind)
    made["even_seeds_sd_m"] = number_or_none(stand.even_sd)
    return made


def stand_json(stand: Stand, harvest: Harvest) -> dict[str, Any]:
    """Plants, with the loss range of each relation; money is given only with a price."""
    made = plants_json(stand)
    if stand.spread:
        made["uncertainty"] = uncertainty_json(stand.spread)
    return made | yield_json(stand, harvest)


def yield_json(stand: Stand, harvest: Harvest) -> dict[str, Any]:
    """Loss range of each relation and its parts, with hedges and what is held fixed."""
    return {
        "hedge": hedge_words(stand.losses, [stand]) if stand.losses else no_relation(stand.crop),
        "held_fixed": fixed_words(stand),
        "yield_as_published": losses_json(stand.losses, harvest),
        "yield_by_emergence_alone": losses_json(stand.emergence_losses, harvest),
        "yield_by_the_meter": losses_json(stand.meter_losses, harvest),
    }


def losses_json(losses: Sequence[Loss], harvest: Harvest) -> list[dict[str, Any]]:
    """Range of yield loss after each relation, in SI; money is given only with a price."""
    return [_loss(loss, harvest) for loss in losses]


def _loss(loss: Loss, harvest: Harvest) -> dict[str, Any]:
    one, ends = loss.relation, (loss.low, loss.high)
    made: dict[str, Any] = {
        "relation": one.key,
        "source": SOURCES[one.source],
        "mark": one.mark,
        "says": one.says,
        "of": one.of,
        "none_found": one.none_found,
        "hedge": one.hedge,
        "outside_what_was_studied": loss.outside,
    }
    columns = [("loss_kg_per_m2", harvest.in_yield), ("loss_share", harvest.in_share)]
    if harvest.price is not None:
        columns.append(("loss_money_per_m2", harvest.in_money))
    for name, to in columns:
        low, high = (number_or_none(to(one, end)) for end in ends)
        made[name] = {"low": low, "high": high}
    return made


def uncertainty_json(spread: Spread) -> dict[str, Any]:
    """Draws of machine and inputs, and the parts of each interval."""
    ranges = {f"{one.section}.{one.name}": one.to_dict() for one in spread.unknowns}
    made: dict[str, Any] = {"draws": spread.size, "ranges_si": ranges}
    if spread.posterior:
        made["machine"] = {
            "title": spread.posterior.title,
            "made": spread.posterior.made,
            "varied": list(spread.posterior.varied),
        }
    for key in spread.estimates:
        parts: dict[str, Any] = {
            name: part.to_dict() for name, part in spread.parts(key).items() if name != "total"
        }
        if spread.of_inputs is None:
            parts["inputs"] = None
        parts["inputs_detected"] = spread.is_detected(key)
        put(made, key, parts, spread.measures[key].kind)
    return made
