"""The card of each sowing: what to sow, how, where it goes and when it is ready."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import isinf
from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.domain.plan import Plan, Sowing, Step
from sowbench.domain.records import SeedLot, StepKind
from sowbench.domain.tray_rows import TrayRows, tray_rows
from sowbench.reference.card_layout import cited
from sowbench.reference.how_to_sow import LotFlags, how_to_sow
from sowbench.science.emergence import days_at_constant
from sowbench.science.house import place_climate
from sowbench.services import wording
from sowbench.services.summary import is_to_sow

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sowbench.planning.inputs import PlanInputs
    from sowbench.reference.tables import Source

# The mix is taken at its mean over the days in the place of germination, at most so many.
_GERMINATES_D: Final = 10
# Sowing is at noon (docs/model.md section 1).
_NOON_D: Final = 0.5


@dataclass(frozen=True, slots=True)
class CardStep:
    """One thing to do, the reason, what it rests on, and what can hurt at it."""

    words: str
    why: str = ""
    caution: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """One sowing as it lies on the bench beside the trays.

    Attributes
    ----------
    sowing : str
        Name of the sowing.
    sow_date : date
        Its day.
    title : str
        What is sown.
    opening : tuple of str
        How much of what, and for whom.
    steps : tuple of CardStep
        How to sow, in order.
    course : tuple of str
        Where it stands, one stretch after another.
    outlook : tuple of str
        When it is ready and how many plants to expect.
    emergence_date : date or None
        Day on which half of it is up at the mean temperature of the place; None if never.
    """

    sowing: str
    sow_date: date
    title: str
    opening: tuple[str, ...]
    steps: tuple[CardStep, ...]
    course: tuple[str, ...]
    outlook: tuple[str, ...]
    emergence_date: date | None = None


def sowing_cards(plan: Plan, inputs: PlanInputs) -> tuple[Card, ...]:
    """Write the card of each sowing.

    Parameters
    ----------
    plan : Plan
        The plan.
    inputs : PlanInputs
        What it was made from.

    Returns
    -------
    cards : tuple of Card
        By sowing day; what stands or is sown already has none.
    """
    climates = _Climates(inputs, plan)
    lots = {each.id: each for each in inputs.lots or ()}
    to_sow = [each for each in plan.sowings if is_to_sow(each, plan)]
    ordered = sorted(to_sow, key=lambda each: (each.sow_date, each.crop, each.sowing))
    rows = tray_rows(plan.sowings, inputs.catalog.containers)
    return tuple(
        _card(each, inputs, climates, lots.get(each.lot), rows.get(each.sowing)) for each in ordered
    )


def _card(
    sowing: Sowing,
    inputs: PlanInputs,
    climates: _Climates,
    lot: SeedLot | None,
    rows: TrayRows | None,
) -> Card:
    """Write one card."""
    crop = inputs.catalog.crops[sowing.crop]
    start = sowing.steps[0]
    container = inputs.catalog.containers[start.container]
    place = climates.places[start.place]
    temp_c = climates.mix_c(start.place, sowing.sow_date, start.to_date)
    variety = f" '{sowing.variety}'" if sowing.variety else ""
    seeds = f"{wording.count(sowing.n_seeds, 'seed')}, {sowing.seeds_per_cell} a cell"
    cells = wording.count(sowing.n_cells, "cell")
    trays = f"{start.n_containers} x {container.name} ({start.container})"
    orders = wording.listed(f"{each.order} ({each.plants:,})" for each in sowing.orders)
    steps = how_to_sow(
        inputs.catalog,
        sowing.crop,
        list(dict.fromkeys(each.container for each in sowing.steps)),
        sowing.seeds_per_cell,
        place.kind,
        round(temp_c, 1),
        lot_flags=None if lot is None else LotFlags(lot.treated, lot.pelleted, lot.primed),
        school=inputs.house.school,
    )
    days = float(days_at_constant(temp_c, crop.emergence))
    return Card(
        sowing=sowing.sowing,
        sow_date=sowing.sow_date,
        title=f"{crop.name}{variety}",
        opening=(
            f"{wording.sentence_start(lot_words(sowing.lot))}: {seeds}, in {cells}: {trays}.",
            f"For {orders}.",
            *((f"{wording.sentence_start(rows.words)}.",) if rows is not None else ()),
        ),
        steps=tuple(
            CardStep(each.words, each.why, each.caution, cited(each.source, each.basis))
            for each in steps
        ),
        course=tuple(_stretch(each) for each in sowing.steps if each.to_date > each.from_date),
        outlook=outlook(sowing),
        emergence_date=(
            None if isinf(days) else sowing.sow_date + timedelta(days=int(_NOON_D + days))
        ),
    )


class _Climates:
    """Mean temperature of the mix in each place in a typical year, worked out once a place."""

    def __init__(self, inputs: PlanInputs, plan: Plan) -> None:
        self._inputs = inputs
        self._first = plan.from_date
        self._n_days = (plan.until_date - plan.from_date).days + 1 + _GERMINATES_D
        self._mix_c: dict[str, NDArray[np.float64]] = {}
        self.places = {each.name: each for each in inputs.house.places}

    def mix_c(self, place: str, first: date, last: date) -> float:
        """Return the mean of the mix from sowing to a day, at most the first ten days [°C]."""
        if place not in self._mix_c:
            house = self._inputs.house
            climate = place_climate(
                self.places[place],
                self._inputs.weather,
                self._first,
                self._n_days,
                np.zeros(1),
                house.weather_spread_c,
                house.room_day_c,
                house.room_night_c,
                house.light,
                house.latitude_deg,
            )
            self._mix_c[place] = climate.temp_mix_c[0]
        start = max((first - self._first).days, 0)
        n_days = min(max((last - first).days, 1), _GERMINATES_D)
        hours = self._mix_c[place][24 * start : 24 * (start + n_days)]
        return float(hours.mean())


def lot_words(lot: str) -> str:
    """Name a lot; one that stands in where no seed file was given is still to be bought.

    Parameters
    ----------
    lot : str
        Name of the lot.

    Returns
    -------
    text : str
        As "lot A-12" or "seed to buy".
    """
    return "seed to buy" if lot.endswith("(to buy)") else f"lot {lot}"


def outlook(sowing: Sowing) -> tuple[str, ...]:
    """Say when a sowing is ready and how many plants to expect.

    Parameters
    ----------
    sowing : Sowing
        The sowing.

    Returns
    -------
    sentences : tuple of str
        The ready window, then the plants.
    """
    ready, overgrown = sowing.ready_date, sowing.overgrown_date
    window = (
        f"Ready about {wording.day(ready.p50)}, 8 times in 10"
        f" {wording.between(ready.p10, ready.p90 or ready.p50)};"
        f" overgrown from about {wording.day(overgrown.p50)}."
    )
    return window, f"Usable plants: {wording.usable(sowing.plants)}."


_DOES: Final = {
    StepKind.PREPARE: "prepared",
    StepKind.GERMINATE: "germinates",
    StepKind.GROW: "grows",
    StepKind.POT_ON: "potted on",
    StepKind.SPACE: "spaced out",
    StepKind.TONE: "toned",
    StepKind.HOLD: "held",
    StepKind.GRAFT: "grafted",
}


def _stretch(step: Step) -> str:
    """Say one step: when, what, where."""
    last = step.to_date - timedelta(days=1)
    what = _DOES[step.kind]
    if step.kind is StepKind.POT_ON:
        what += f" into {step.n_containers} x {step.container}"
    elif step.kind is StepKind.SPACE:
        what += f" to {step.plants_per_m2:.0f} a square meter"
    return f"{wording.span(step.from_date, last)}: {what} ({step.place})."


def cards_document(cards: Iterable[Card], sources: Mapping[str, Source]) -> str:
    """Write the cards as one Markdown text.

    Parameters
    ----------
    cards : iterable of Card
        The cards.
    sources : mapping of str to Source
        Sources by the id that a step cites.

    Returns
    -------
    text : str
        One heading a card, in the order given; what was cited comes last.
    """
    every = tuple(cards)
    lines = ["# How to sow, one card a sowing", ""]
    for each in every:
        lines += [f"## {wording.day(each.sow_date, year=True)}: {each.title} ({each.sowing})", ""]
        lines += [*(f"{sentence}  " for sentence in each.opening), ""]
        said: set[str] = set()
        for at, step in enumerate(each.steps, start=1):
            lines.append(f"{at}. {step.words}")
            if step.why:
                source = f" [{step.source}]" if step.source else ""
                lines.append(f"   *Why: {step.why}{source}*")
            if step.caution and step.caution not in said:
                said.add(step.caution)
                lines.append(f"   **Caution: {step.caution}**")
        lines += ["", *(f"- {sentence}" for sentence in (*each.course, *each.outlook)), ""]
    citations = cited_sources(every, sources)
    if citations:
        lines += ["## Sources", ""]
        lines += [f"- {name}: {citation}" for name, citation in citations]
        lines += ["- practice: common practice, no single source", ""]
    return "\n".join(lines)


def cited_sources(cards: Iterable[Card], sources: Mapping[str, Source]) -> list[tuple[str, str]]:
    """List what the steps of cards cite.

    Parameters
    ----------
    cards : iterable of Card
        The cards.
    sources : mapping of str to Source
        Sources by id.

    Returns
    -------
    citations : list of (str, str)
        Id and citation, by id.
    """
    texts = [each for card in cards for step in card.steps for each in (step.source, step.why)]
    names = {name for text in texts for name in re.findall(r"[A-Za-z0-9.-]+", text)}
    return [(name, sources[name].citation) for name in sorted(names & set(sources))]
