"""What presses in the season, and what one could do about it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.checking.rooms import step_area
from sowbench.domain.records import PlaceKind, StepKind
from sowbench.exchange.season_use import DailyUse, Spell, day_states, full_spells
from sowbench.services import wording
from sowbench.services.offers import offer_words, reason_words
from sowbench.services.place_climates import YearOfPlace, years_of_places
from sowbench.services.season_words import amount_words, cut, last_day, spell_words
from sowbench.services.working_press import saved_on_full_days

if TYPE_CHECKING:
    from sowbench.domain.plan import Plan, Sowing, Step
    from sowbench.domain.records import House, Order, Place
    from sowbench.reference.catalog import Catalog
    from sowbench.science.weather_year import WeatherYear

_MOST_PRESSING: Final = 3
_MOST_UNMET: Final = 2
_MOST_OFFERS: Final = 3
_FOR_START: Final = {PlaceKind.CHAMBER, PlaceKind.MIST, PlaceKind.HEALING}


@dataclass(frozen=True, slots=True)
class Pressing:
    """A sowing that takes much of a full place, and a place that has room for it instead.

    ``other_place`` is blank where no other place has room and warmth for all of its stay.
    """

    sowing: str
    crop: str
    words: str
    other_place: str


@dataclass(frozen=True, slots=True)
class SeasonFlag:
    """One thing that presses: what is true, what it costs, what could be done.

    ``level`` is act or watch; ``place`` the place, blank for hands and orders; ``when_date`` the
    first day of it; ``offer_numbers`` are those of the offers in the plan; ``saves`` says what one
    more would do, and ``saved`` how much that is.
    """

    level: str
    said: str
    more: str
    place: str
    when_date: date | None
    is_hands: bool = False
    pressing: tuple[Pressing, ...] = ()
    offers: tuple[str, ...] = ()
    order: str = ""
    offer_numbers: tuple[int, ...] = ()
    saves: str = ""
    saved: str = ""

    @property
    def short(self) -> str:
        """What it is about, in a word or two with its day."""
        what = "hands" if self.is_hands else self.place or f"order {self.order}"
        return f"{what} {wording.short_day(self.when_date)}" if self.when_date else what


def season_flags(
    plan: Plan,
    uses: Sequence[DailyUse],
    house: House,
    catalog: Catalog,
    weather: WeatherYear | None,
    today: date,
    served: Mapping[str, Order],
) -> tuple[SeasonFlag, ...]:
    """Say what presses from today on.

    Parameters
    ----------
    plan : Plan
        The plan.
    uses : sequence of DailyUse
        Use of places and hands by day.
    house : House
        The house.
    catalog : Catalog
        The reference with the house's own values.
    weather : WeatherYear or None
        The house's weather.
    today : date
        The day in the house.
    served : mapping of str to Order
        The orders of which plants are not planned, by name.

    Returns
    -------
    flags : tuple of SeasonFlag
        What has to be acted on first; then what is full, the next first.
    """
    coming = {
        each.name: cut(each, today, max(last_day(each), today) + timedelta(days=1)) for each in uses
    }
    looker = _Looker(plan, coming, house, catalog, weather, today)
    found: list[SeasonFlag] = []
    for daily in coming.values():
        spells = full_spells(daily)
        if spells:
            look = looker.of_hands if daily.hands else looker.of_place
            found.append(look(daily, spells))
    found.sort(key=lambda each: (each.level != "act", each.when_date or today))
    return (*looker.of_unmet(served), *found)


class _Looker:
    """Looks at what stands where, once for all flags."""

    def __init__(
        self,
        plan: Plan,
        coming: Mapping[str, DailyUse],
        house: House,
        catalog: Catalog,
        weather: WeatherYear | None,
        today: date,
    ) -> None:
        self._plan = plan
        self._coming = coming
        self._places: dict[str, Place] = {each.name: each for each in house.places}
        self._years = years_of_places(house, weather)
        self._catalog = catalog
        self._currency = house.prices.currency
        self._today = today

    def of_unmet(self, served: Mapping[str, Order]) -> Iterator[SeasonFlag]:
        """Yield orders that find no room or no hands, with the offers that the plan makes."""
        n = 0
        for each in self._plan.unmet:
            order = served.get(each.order)
            if each.reason not in {"room", "crew"} or order is None:
                continue
            if order.latest_date < self._today or n == _MOST_UNMET:
                continue
            n += 1
            coming = [
                (at, offer)
                for at, offer in enumerate(each.offers)
                if offer.wanted_on is None or offer.wanted_on >= self._today
            ][:_MOST_OFFERS]
            whose = f" for {order.customer}" if order.customer else ""
            yield SeasonFlag(
                level="act",
                said=f"{each.plants:,} of {order.plants:,} plants of order {order.id}{whose} are"
                " not planned.",
                more=each.words or f"{reason_words(each.reason)}.",
                place="",
                when_date=None,
                offers=tuple(
                    offer_words([offer for _, offer in coming], order.plants, self._currency)
                ),
                offer_numbers=tuple(at for at, _ in coming),
                order=order.id,
            )

    def of_place(self, daily: DailyUse, spells: Sequence[Spell]) -> SeasonFlag:
        """Say that a place is full, what more room would save, and what presses most."""
        over = "over" in day_states(daily)
        longest = max(spells, key=lambda each: each.n_days)
        rest = sum(each.n_days for each in spells) - longest.n_days
        also = f", and on {wording.count(rest, 'other day')}" if rest else ""
        state = "has more to hold than fits" if over else "is full"
        return SeasonFlag(
            level="act" if over else "watch",
            said=f"{wording.sentence_start(daily.name)} {state} {spell_words(longest)}{also}.",
            more="",
            place=daily.name,
            when_date=longest.from_date,
            pressing=self._pressing(daily, longest),
            saves=f"Room for one {'tray' if daily.unit == 'trays' else daily.unit} more on these"
            " days would save about",
            saved=self._saved(daily),
        )

    def of_hands(self, daily: DailyUse, spells: Sequence[Spell]) -> SeasonFlag:
        """Say when all hands are busy, with what, and what of it can wait."""
        over = "over" in day_states(daily)
        n_days = sum(each.n_days for each in spells)
        if len(spells) == 1:
            when = spell_words(spells[0])
        else:
            last = spells[-1].to_date - timedelta(days=1)
            first = spells[0].from_date
            when = f"on {n_days} days {wording.between(first, last)}"
        busy = {each.from_date + timedelta(days=at) for each in spells for at in range(each.n_days)}
        by_task: defaultdict[str, float] = defaultdict(float)
        waits_min = 0.0
        for task in self._plan.tasks:
            if task.date in busy:
                by_task[task.task] += task.minutes
                waits_min += task.minutes if task.slack_d > 0 else 0.0
        total = sum(by_task.values()) or 1.0
        most = sorted(by_task.items(), key=lambda each: -each[1])[:2]
        parts = [f"{name} takes {wording.percent(value / total)}" for name, value in most]
        more = f"{wording.sentence_start(wording.listed(parts))} of these days." if parts else ""
        if waits_min >= 1:
            more += f" Of the work, {wording.minutes(waits_min)} can wait a day or more."
        state = "More is asked of the hands than there is" if over else "All hands are busy"
        return SeasonFlag(
            level="act" if over else "watch",
            said=f"{state} {when}.",
            more=more,
            place="",
            when_date=spells[0].from_date,
            is_hands=True,
            saves="One hour more on each of these days would save about",
            saved=self._saved(daily),
        )

    def _saved(self, daily: DailyUse) -> str:
        """Say what one more tray, square meter or hour would save on the full days."""
        saved, _ = saved_on_full_days(self._plan, daily, self._today)
        return "" if saved < 0.005 else wording.money(saved, self._currency)

    def _pressing(self, daily: DailyUse, spell: Spell) -> tuple[Pressing, ...]:
        """List the sowings that take most of a place in a spell and can still be moved."""
        found: list[tuple[float, Sowing, Step, float]] = []
        for sowing in self._plan.sowings:
            for step in sowing.steps:
                if step.place != daily.name or step.from_date < self._today:
                    continue
                first, end = (
                    max(step.from_date, spell.from_date),
                    min(step.to_date, spell.to_date),
                )
                n_days = (end - first).days
                amount = self._amount(step, daily.name)
                if n_days > 0 and amount > 0:
                    found.append((amount * n_days, sowing, step, amount))
        found.sort(key=lambda each: (-each[0], each[1].sowing))
        return tuple(
            Pressing(
                sowing=sowing.sowing,
                crop=self._catalog.crops[sowing.crop].name
                if sowing.crop in self._catalog.crops
                else sowing.crop,
                words=f"{amount_words(amount, daily)},"
                f" {wording.span(step.from_date, step.to_date - timedelta(days=1))}",
                other_place=self._other_place(sowing, step),
            )
            for _, sowing, step, amount in found[:_MOST_PRESSING]
        )

    def _amount(self, step: Step, place_name: str) -> float:
        """Return what a step takes of a place, in the place's unit."""
        place = self._places.get(place_name)
        container = self._catalog.containers.get(step.container)
        if place is None or container is None:
            return 0.0
        if place.n_positions is not None:
            return float(step.n_containers)
        return step_area(step, container)

    def _other_place(self, sowing: Sowing, step: Step) -> str:
        """Find a place of the same use with room on all days of a step, and warm enough."""
        crop = self._catalog.crops.get(sowing.crop)
        here = self._places.get(step.place)
        if crop is None or here is None:
            return ""
        least_c = crop.tone_min_c if step.kind is StepKind.TONE else crop.min_c
        fits: list[tuple[float, str]] = []
        for name, place in self._places.items():
            if name == step.place or place.kind is PlaceKind.COLD_STORE:
                continue
            if (place.kind in _FOR_START) != (here.kind in _FOR_START):
                continue
            if place.kind is PlaceKind.YARD and not crop.hardy:
                continue
            year: YearOfPlace = self._years[name]
            if year.coldest_between(step.from_date, step.to_date) < least_c:
                continue
            room = self._least_room(name, step)
            if room >= self._amount(step, name):
                fits.append((room, name))
        return max(fits)[1] if fits else ""

    def _least_room(self, name: str, step: Step) -> float:
        """Return the least room of a place on the days of a step."""
        daily = self._coming.get(name)
        if daily is None:
            return 0.0
        if daily.capacity is None:
            return float("inf")
        part = cut(daily, step.from_date, step.to_date)
        room = zip(part.capacity or (), part.use, strict=False)
        return min((capacity - use for capacity, use in room), default=0.0)
