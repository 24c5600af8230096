"""What can be written down of a sowing or of the house: one form for each kind of entry."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from sowbench.domain.journal import EntryKind
from sowbench.domain.life import CELLS_PER_TRAY, LAST
from sowbench.domain.records import StepKind
from sowbench.services.sowing_fields import (
    READY_FIELD,
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
    from sowbench.domain.records import House
    from sowbench.reference.catalog import Catalog
    from sowbench.services.sowing_ground import Ground


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
    job = None if is_sown else ground.due("sow")
    crop = (
        Field("crop", "crop", value=planned.crop if planned is not None else ""),
        Field("variety", "variety", value=planned.variety if planned is not None else ""),
    )
    sown = ground.action(
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
    bought = ground.action(
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
    germ = ground.step(StepKind.GERMINATE)
    is_in_chamber = germ is not None and ground.life is not None and ground.life.place == germ.place
    move = ground.due("move", "tone")
    to = ground.next_place()
    spaced, potted = ground.step(StepKind.SPACE), ground.step(StepKind.POT_ON)
    container = ground.catalog.containers.get(potted.container) if potted is not None else None
    return [
        ground.action(
            "pulled",
            EntryKind.PULLED,
            "Pull from the chamber",
            "chamber",
            group,
            (day_field(today), *ground.tray_fields(), place_field(to), note_field(), who_field()),
            move if is_in_chamber else None,
        ),
        ground.action(
            "moved",
            EntryKind.MOVED,
            "Move",
            "move",
            group,
            (day_field(today), *ground.tray_fields(), place_field(to), note_field(), who_field()),
            None if is_in_chamber else move,
        ),
        ground.action(
            "spaced",
            EntryKind.SPACED,
            "Space",
            "space",
            group,
            (
                day_field(today),
                *ground.tray_fields(),
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
            ground.due("space"),
        ),
        ground.action(
            "potted",
            EntryKind.POTTED_ON,
            "Pot on",
            "pot",
            group,
            (
                day_field(today),
                *ground.tray_fields(),
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
            ground.due("pot on"),
        ),
    ]


def _plants(ground: Ground) -> list[Action]:
    """Counting, thinning, gapping up, grading, grafting, losing, dumping."""
    today, group = ground.today, "Plants"
    reason = Field("reason", "why", suggest="reasons", is_needed=True)
    some, day, who = ground.tray_fields(), day_field(today), who_field()
    return [
        ground.action(
            "counted",
            EntryKind.COUNTED,
            "Count",
            "count",
            group,
            (
                day,
                *some,
                number_field("cells with what is wanted"),
                Field("n_of", "of cells looked at", "number", help="Blank: all of their cells."),
                note_field(),
                who,
            ),
            ground.due("count"),
        ),
        ground.action(
            "thinned",
            EntryKind.THINNED,
            "Thin",
            "cut",
            group,
            (day, *some, number_field("cells thinned", is_needed=False), note_field(), who),
            ground.due("thin"),
        ),
        ground.action(
            "gapped",
            EntryKind.GAPPED_UP,
            "Gap up",
            "2",
            group,
            (day, *some, number_field("cells filled"), note_field(), who),
        ),
        ground.action(
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
        ground.action(
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
        ground.action(
            "lost",
            EntryKind.LOST,
            "Lost",
            "triangle",
            group,
            (day, *some, number_field("cells lost"), reason, note_field(), who),
        ),
        ground.action(
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
    some = ground.tray_fields()
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
            "ready", EntryKind.NOTED.value, "Ready yet?", "tick", group, (day, READY_FIELD, who)
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
    job = ground.due("pack")
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
        ground.action(
            "delivered",
            EntryKind.DELIVERED,
            "Deliver",
            "pack",
            group,
            (
                day,
                order,
                number_field("plants", shares.get(first, "")),
                *ground.tray_fields(),
                Field(f"values.{LAST}", "That was the last of it", "check", "1"),
                note_field(),
                who,
            ),
            job,
        ),
        Action("returned", EntryKind.RETURNED.value, "Trays back", "tray", group, back),
        Action("washed", EntryKind.WASHED.value, "Trays washed", "water", group, back),
    ]
