"""What can be written down of a sowing or of the house: one form for each kind of entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import EntryKind
from sowbench.domain.life import CELLS_PER_TRAY, LAST
from sowbench.domain.records import StepKind
from sowbench.services import wording
from sowbench.services.sowing_fields import (
    TRAYS_HELP,
    TREAT_CAUTION,
    Action,
    Field,
    day_field,
    note_field,
    number_field,
    place_field,
    reading_fields,
    treated_fields,
    who_field,
)

if TYPE_CHECKING:
    from sowbench.domain.plan import Sowing, Step
    from sowbench.domain.ports.sowings_page import Life, PlannedJob, TrayState
    from sowbench.domain.records import House, Order
    from sowbench.reference.catalog import Catalog

# A planned job is offered to be ticked off from so long before its day.
_AHEAD_D: Final = 7


@dataclass(frozen=True, slots=True)
class Ground:
    """What the forms of a sowing take their defaults from."""

    today: date
    life: Life | None
    planned: Sowing | None
    trays: Sequence[TrayState]
    jobs: Sequence[PlannedJob]
    orders: Sequence[Order]
    house: House
    catalog: Catalog


def sowing_actions(ground: Ground) -> tuple[Action, ...]:
    """Return the forms of a sowing, what is due by the plan first.

    Parameters
    ----------
    ground : Ground
        What is known of it.

    Returns
    -------
    actions : tuple of Action
        Every kind of entry that can be about a sowing.
    """
    is_sown = ground.life is not None and ground.life.sown_date is not None
    start = _sown(ground)
    made = [
        *([] if is_sown else start),
        *_moves(ground),
        *_plants(ground),
        *_care(ground.today),
        *_records(ground),
        *_out(ground),
        *(start if is_sown else []),
    ]
    return tuple(sorted(made, key=lambda each: not each.is_due))


def house_actions(today: date, house: House, catalog: Catalog) -> tuple[Action, ...]:
    """Return the forms that are about no sowing: trays that come back, and notes.

    Parameters
    ----------
    today : date
        The day in the house.
    house : House
        The house.
    catalog : Catalog
        The reference.

    Returns
    -------
    actions : tuple of Action
        Returned, washed, noted, read, treated.
    """
    first = next(iter(house.stock), None)
    container = first.container if first is not None else next(iter(catalog.containers), "")

    def trays(key: str, kind: EntryKind, label: str) -> Action:
        fields = (
            day_field(today),
            Field("n", "trays", "number", "", is_needed=True),
            Field("container", "container", "text", container, suggest="containers"),
            note_field(),
            who_field(),
        )
        return Action(key, kind.value, label, "tray", "Trays", fields)

    place = Field("place", "place", "text", "", suggest="places")
    return (
        trays("returned", EntryKind.RETURNED, "Trays came back"),
        trays("washed", EntryKind.WASHED, "Trays were washed"),
        Action(
            "noted",
            EntryKind.NOTED.value,
            "Note on the house",
            "file",
            "House",
            (day_field(today), place, note_field(is_needed=True), who_field()),
        ),
        Action(
            "read",
            EntryKind.READ.value,
            "Read a meter",
            "light",
            "House",
            (day_field(today), place, *reading_fields(), note_field(), who_field()),
        ),
        Action(
            "treated",
            EntryKind.TREATED.value,
            "Treated a place",
            "mist",
            "House",
            (day_field(today), place, *treated_fields()),
            caution=TREAT_CAUTION,
        ),
    )


def _trays(ground: Ground) -> tuple[Field, ...]:
    """Which trays, where there are several."""
    if sum(each.gone_date is None for each in ground.trays) < 2:
        return ()
    return (Field("trays", "trays", help=TRAYS_HELP),)


def _due(ground: Ground, *tasks: str) -> PlannedJob | None:
    """Return the first job of a kind that is not ticked off and is due about now."""
    until = ground.today + timedelta(days=_AHEAD_D)
    open_jobs = [
        each
        for each in ground.jobs
        if each.task in tasks and each.done_date is None and each.day <= until
    ]
    return min(open_jobs, key=lambda each: each.day, default=None)


def _planned_words(job: PlannedJob | None, today: date) -> str:
    """Say for when the plan has a job."""
    if job is None:
        return ""
    late = (today - job.day).days
    since = f", {wording.count(late, 'day')} ago" if late > 0 else ""
    return f"Ticks off what is planned for {wording.day(job.day)}{since}."


def _acted(
    ground: Ground,
    key: str,
    kind: EntryKind,
    label: str,
    glyph: str,
    group: str,
    fields: tuple[Field, ...],
    job: PlannedJob | None = None,
) -> Action:
    """Make an action that may tick off a job."""
    due = job is not None and job.day <= ground.today
    return Action(
        key,
        kind.value,
        label,
        glyph,
        group,
        fields,
        "" if job is None else job.key,
        _planned_words(job, ground.today),
        is_due=due,
    )


def _step(ground: Ground, *kinds: StepKind) -> Step | None:
    """Return the first planned step of some kinds."""
    if ground.planned is None:
        return None
    return next((each for each in ground.planned.steps if each.kind in kinds), None)


def _next_place(ground: Ground) -> str:
    """Return the place where the plan has the sowing next."""
    here = ground.life.place if ground.life is not None else ""
    if ground.planned is None:
        return ""
    for each in ground.planned.steps:
        if each.to_date > ground.today and each.place != here:
            return each.place
    return ""


def _sown(ground: Ground) -> list[Action]:
    """Sowing and buying in; of what stands already, at the end of the list."""
    planned = ground.planned
    first = planned.steps[0] if planned is not None and planned.steps else None
    container = first.container if first is not None else ""
    cells = ground.catalog.containers.get(container)
    full = Field(
        f"values.{CELLS_PER_TRAY}",
        "cells of a full tray",
        "number",
        str(cells.cells) if cells is not None else "",
    )
    trays = (
        Field("container", "container", value=container, suggest="containers"),
        number_field(
            "trays",
            first.n_containers if first is not None else "",
            name="n_containers",
            is_needed=False,
        ),
        full,
    )
    is_sown = ground.life is not None and ground.life.sown_date is not None
    job = None if is_sown else _due(ground, "sow")
    crop = (
        Field("crop", "crop", value=planned.crop if planned is not None else ""),
        Field("variety", "variety", value=planned.variety if planned is not None else ""),
    )
    sown = _acted(
        ground,
        "sown",
        EntryKind.SOWN,
        "Sown",
        "seed",
        "Start",
        (
            day_field(ground.today),
            number_field("cells", planned.n_cells if planned is not None else ""),
            number_field(
                "seeds",
                planned.n_seeds if planned is not None else "",
                name="values.n_seeds",
                is_needed=False,
            ),
            Field("lot", "lot", value=planned.lot if planned is not None else ""),
            *crop,
            *trays,
            place_field(first.place if first is not None else "", "stands in"),
            note_field(),
            who_field(),
        ),
        job,
    )
    bought = _acted(
        ground,
        "bought",
        EntryKind.BOUGHT_IN,
        "Bought in",
        "pack",
        "Start",
        (
            day_field(ground.today),
            number_field("plants"),
            *crop,
            *trays,
            place_field("", "stands in"),
            note_field(),
            who_field(),
        ),
    )
    return [sown, bought]


def _moves(ground: Ground) -> list[Action]:
    """Out of the chamber, elsewhere, spaced, potted on."""
    today, group = ground.today, "Move and room"
    germ = _step(ground, StepKind.GERMINATE)
    is_in_chamber = germ is not None and ground.life is not None and ground.life.place == germ.place
    move = _due(ground, "move", "tone")
    to = _next_place(ground)
    spaced, potted = _step(ground, StepKind.SPACE), _step(ground, StepKind.POT_ON)
    container = ground.catalog.containers.get(potted.container) if potted is not None else None
    return [
        _acted(
            ground,
            "pulled",
            EntryKind.PULLED,
            "Pull from the chamber",
            "chamber",
            group,
            (day_field(today), *_trays(ground), place_field(to), note_field(), who_field()),
            move if is_in_chamber else None,
        ),
        _acted(
            ground,
            "moved",
            EntryKind.MOVED,
            "Move",
            "move",
            group,
            (day_field(today), *_trays(ground), place_field(to), note_field(), who_field()),
            None if is_in_chamber else move,
        ),
        _acted(
            ground,
            "spaced",
            EntryKind.SPACED,
            "Space",
            "space",
            group,
            (
                day_field(today),
                *_trays(ground),
                Field(
                    "values.plants_per_m2",
                    "plants a square meter",
                    "number",
                    f"{spaced.plants_per_m2:.0f}" if spaced is not None else "",
                    step="any",
                ),
                Field(
                    "place",
                    "to",
                    value=spaced.place if spaced is not None else "",
                    suggest="places",
                ),
                note_field(),
                who_field(),
            ),
            _due(ground, "space"),
        ),
        _acted(
            ground,
            "potted",
            EntryKind.POTTED_ON,
            "Pot on",
            "pot",
            group,
            (
                day_field(today),
                *_trays(ground),
                number_field("plants", potted.n_cells if potted is not None else ""),
                Field(
                    "container",
                    "into",
                    value=potted.container if potted is not None else "",
                    suggest="containers",
                    is_needed=True,
                ),
                number_field(
                    "containers",
                    potted.n_containers if potted is not None else "",
                    name="n_containers",
                ),
                Field(
                    f"values.{CELLS_PER_TRAY}",
                    "cells of a full one",
                    "number",
                    str(container.cells) if container is not None else "",
                ),
                place_field(potted.place if potted is not None else "", "stands in"),
                note_field(),
                who_field(),
            ),
            _due(ground, "pot on"),
        ),
    ]


def _plants(ground: Ground) -> list[Action]:
    """Counting, thinning, gapping up, grading, grafting, losing, dumping."""
    today, group = ground.today, "Plants"
    n_seen = sum(each.n_cells for each in ground.trays if each.gone_date is None)
    reason = Field("reason", "why", suggest="reasons", is_needed=True)
    some, day, who = _trays(ground), day_field(today), who_field()
    return [
        _acted(
            ground,
            "counted",
            EntryKind.COUNTED,
            "Count",
            "count",
            group,
            (
                day,
                *some,
                number_field("cells with what is wanted"),
                number_field("of cells looked at", n_seen or "", name="n_of", is_needed=False),
                note_field(),
                who,
            ),
            _due(ground, "count"),
        ),
        _acted(
            ground,
            "thinned",
            EntryKind.THINNED,
            "Thin",
            "cut",
            group,
            (day, *some, number_field("cells thinned", is_needed=False), note_field(), who),
            _due(ground, "thin"),
        ),
        _acted(
            ground,
            "gapped",
            EntryKind.GAPPED_UP,
            "Gap up",
            "2",
            group,
            (day, *some, number_field("cells filled"), note_field(), who),
        ),
        _acted(
            ground,
            "graded",
            EntryKind.GRADED,
            "Grade",
            "tick",
            group,
            (
                day,
                *some,
                number_field("fit to hand over"),
                number_field("of plants looked at", name="n_of", is_needed=False),
                note_field(),
                who,
            ),
        ),
        _acted(
            ground,
            "grafted",
            EntryKind.GRAFTED,
            "Graft",
            "healing",
            group,
            (
                day,
                *some,
                number_field("plants grafted"),
                Field("place", "heal in", suggest="places"),
                note_field(),
                who,
            ),
        ),
        _acted(
            ground,
            "lost",
            EntryKind.LOST,
            "Lost",
            "triangle",
            group,
            (day, *some, number_field("cells lost"), reason, note_field(), who),
        ),
        _acted(
            ground,
            "dumped",
            EntryKind.DUMPED,
            "Dump",
            "close",
            group,
            (
                day,
                *some,
                Field("n", "cells", "number", help="Blank: whole trays, or all of it."),
                reason,
                note_field(),
                who,
            ),
        ),
    ]


def _care(today: date) -> list[Action]:
    """Feeding, watering, reading."""
    group, day, who = "Water and feed", day_field(today), who_field()
    ec_ph = reading_fields()[:2]
    return [
        Action(
            "watered", EntryKind.WATERED.value, "Water", "water", group, (day, note_field(), who)
        ),
        Action(
            "fed",
            EntryKind.FED.value,
            "Feed",
            "mist",
            group,
            (day, Field("values.feed", "what was fed"), *ec_ph, note_field(), who),
        ),
        Action(
            "read",
            EntryKind.READ.value,
            "Read EC, pH, °C",
            "light",
            group,
            (day, *reading_fields(), note_field(), who),
        ),
    ]


def _records(ground: Ground) -> list[Action]:
    """Scouting, treating, noting."""
    group, day, who = "Records", day_field(ground.today), who_field()
    some = _trays(ground)
    return [
        Action(
            "scouted",
            EntryKind.SCOUTED.value,
            "Scout",
            "3",
            group,
            (
                day,
                *some,
                Field("values.found", "what was found", is_needed=True),
                Field("values.n_found", "how many", "number"),
                note_field(),
                who,
            ),
        ),
        Action(
            "treated",
            EntryKind.TREATED.value,
            "Treated",
            "mist",
            group,
            (day, *some, *treated_fields()),
            caution=TREAT_CAUTION,
        ),
        Action(
            "noted",
            EntryKind.NOTED.value,
            "Note",
            "file",
            group,
            (day, *some, note_field(is_needed=True), who),
        ),
    ]


def _out(ground: Ground) -> list[Action]:
    """Handing over, and trays that come back."""
    group, day, who = "Out", day_field(ground.today), who_field()
    planned = ground.planned
    shares = {} if planned is None else {each.order: each.plants for each in planned.orders}
    options = tuple(
        (each.id, f"{each.id}{f', {each.customer}' if each.customer else ''}")
        for each in ground.orders
    )
    first = options[0][0] if options else ""
    job = _due(ground, "pack")
    if job is not None and len(ground.orders) > 1:  # one line an order, as on the day sheet
        job = None
    order = (
        Field("order", "for", "choice", first, options=options, is_needed=True)
        if options
        else Field("order", "for order", is_needed=True)
    )
    container = next((each.container for each in ground.trays if each.gone_date is None), "")
    back = (
        day,
        number_field("trays"),
        Field("container", "container", value=container, suggest="containers"),
        note_field(),
        who,
    )
    return [
        _acted(
            ground,
            "delivered",
            EntryKind.DELIVERED,
            "Deliver",
            "pack",
            group,
            (
                day,
                order,
                number_field("plants", shares.get(first, "")),
                *_trays(ground),
                Field(f"values.{LAST}", "That was the last of it", "check", "1"),
                note_field(),
                who,
            ),
            job,
        ),
        Action("returned", EntryKind.RETURNED.value, "Trays back", "tray", group, back),
        Action("washed", EntryKind.WASHED.value, "Trays washed", "water", group, back),
    ]
