"""How sure the cost is: the direct cost in every trial of a framing, and what a person is told of all its trials.

Pure. The trials are those behind the framing's `uncertainty`, drawn again from its seed. Money in trials is floats,
since a spread of ten per cent needs no cents; the estimate itself stays Decimal, and nothing here goes into a price.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import numpy as np

from framing.engine import length
from framing.engine.job_trials import contributions
from framing.engine.uncertainty import percentiles, trials_of, words
from quotes.notes import listed

OFTEN = 0.05  # what happens less often than this is not told


def cost_spread(framing: Mapping[str, Any], costs: Mapping[str, tuple[Decimal, bool]], crew_rate: Decimal | None,
                hours: Decimal, direct: Decimal, contingency: Decimal, tax_on_cost: Decimal) -> dict[str, Any] | None:
    """Direct cost at p10, p50 and p90, how often it exceeds what is planned and what the contingency covers.

    Parameters
    ----------
    framing : mapping
        A `deck-framing/1` document.
    costs : mapping
        Of every item of the framing that is bought the cost of its line, and whether tax falls on it.
    crew_rate, hours, direct, contingency : Decimal
        Of the estimate: cost of a person-hour, person-hours priced, direct cost with its tax, contingency. [money, h]
    tax_on_cost : Decimal
        The rate of tax that falls on cost, 0 where it falls on the sale.

    Returns
    -------
    dict or None
        None for a framing without trials. Amounts are text with two decimals; `unpriced` names items that trials take
        and that the estimate has no price for, so that they cost nothing here.

    Notes
    -----
    What is ordered is paid for, whether a trial takes it or not; what it takes more is bought at the line's own price.
    Prices and wages stand as they are: their own doubt is the contingency's.
    """
    trials = trials_of(framing)
    if trials is None:
        return None
    order = {row["item"]: float(row["order"]) for row in framing["quantities"]}
    more: dict[str, np.ndarray] = {}
    unpriced = []
    for item, short in trials.short.items():
        if item not in costs:
            unpriced += [item] if (short > 0).mean() >= OFTEN else []
            continue
        cost, taxed = costs[item]
        each = float(cost) / order[item] * (1 + float(tax_on_cost) * taxed)
        kind = "more shims" if item.startswith("support/") else f"culls of {item.rsplit('/', 1)[0]}"
        more[kind] = more.get(kind, 0.0) + short * each
    wages = float(crew_rate or 0) * (trials.hours.total - float(hours))
    in_trials = float(direct) + wages + sum(more.values())
    sources = contributions(in_trials, {**trials.hours.sources, **more})
    return {
        "direct": {name: f"{value:.2f}" for name, value in percentiles(in_trials).items()},
        "planned": f"{direct:.2f}",
        "over": float((in_trials > float(direct)).mean()),
        "covered": float((in_trials <= float(direct + contingency)).mean()),
        "contributions": [{"source": name, "share": share} for name, share, _ in sources],
        "told": words("cost", sources) if sources else "",
        "unpriced": unpriced,
    }


def how_sure(framing: Mapping[str, Any]) -> list[str]:
    """Sentences on what the trials of a framing show; none for a framing without."""
    told = framing.get("uncertainty") or {}
    names = {row["item"]: row["description"] for row in framing.get("quantities") or ()}
    return list(_sentences(told, names)) if told.get("trials") and "hours" in told else []


def _sentences(told: Mapping[str, Any], names: Mapping[str, str]) -> Iterator[str]:
    gap, total, risk = told.get("least_gap"), told["hours"]["total"], told["at_risk"]
    yield (f"{told['trials']:,} trials within the survey's standard errors, the rates' low and high and usual culls; "
           f"ranges hold eight trials of ten.")
    if gap:
        yield (f"Least clear gap: {gap['p10']:.2f} to {gap['p90']:.2f} in; below the least asked somewhere in "
               f"{often(told['gap_below_least'])}.")
    shims = [f"{_range(band)} of {length.write(float(size), 32)} in" for size, band in told["shims"].items()
             if band["p90"] > 0]
    if shims:
        yield f"Shims: {listed(shims)}."
    if told["stack_open"] >= OFTEN:
        yield f"Some stack cannot be closed with the shims at hand in {often(told['stack_open'])}."
    if max(risk["deeper"], risk["thinner"]) >= OFTEN:
        names = ", ".join(m["member"] for m in risk["members"])
        yield (f"The true roof asks a deeper stick in {often(risk['deeper'])} and leaves one too thin in "
               f"{often(risk['thinner'])}: {names}.")
    short = [f"{_name(item, names)} in {often(chance)}" for item, chance in told["order_short"].items()
             if chance >= OFTEN]
    if short:
        yield f"The order with its spares is short of {listed(short)}."
    yield (f"Person-hours: {total['p10']:.0f} to {total['p90']:.0f}, {total['p50']:.0f} in the middle; the "
           f"{total['planned']:.0f} planned are exceeded in {often(total['over'])}.")
    yield from told["told"].values()


def _name(item: str, names: Mapping[str, str]) -> str:
    """What an item is called; a shim that trials take though none is ordered, by its thickness."""
    kind, _, size = item.rpartition("/")
    return names.get(item) or (f"shims {length.write(float(size), 32)} in" if kind == "support/shim" else item)


def _range(band: Mapping[str, float]) -> str:
    low, high = round(band["p10"]), round(band["p90"])
    return f"{low}" if low == high else f"{low} to {high}"


def often(chance: float) -> str:
    """A chance as people count it: 0.62 is 62 of 100."""
    return f"{100 * chance:.0f} of 100"
