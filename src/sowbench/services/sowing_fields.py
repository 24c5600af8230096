"""Fields of the forms by which people write down what happened."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from sowbench.domain.journal import EntryKind
from sowbench.domain.life import CELLS_PER_TRAY
from sowbench.services.learned_worked import READY

REASONS: Final = (
    "damping-off",
    "dried out",
    "eaten",
    "too cold",
    "too hot",
    "too wet",
    "dropped",
    "did not come up",
)
"""Why cells are lost, to choose from (common practice)."""
TREAT_CAUTION: Final = (
    "A record, never advice. The label, local codes and a licensed applicator decide what, how "
    "much, and when the place may be entered again."
)


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form.

    Attributes
    ----------
    name : str
        As in domain.journal.Entry; a reading is ``values.NAME``.
    label : str
        What is asked.
    type : str
        number, text, date, time, choice, check, or area.
    value : str
        What stands in it.
    unit : str
        Unit of a number.
    options : tuple of (str, str)
        Values and words of a choice.
    suggest : str
        Name of a list of suggestions: places, containers or reasons.
    help : str
        A line below.
    step : str
        Step of a number.
    is_needed : bool
        Whether it must be filled in.
    """

    name: str
    label: str
    type: str = "text"
    value: str = ""
    unit: str = ""
    options: tuple[tuple[str, str], ...] = ()
    suggest: str = ""
    help: str = ""
    step: str = "1"
    is_needed: bool = False


READY_FIELD: Final = Field(
    f"values.{READY}",
    "fit to hand over",
    "choice",
    options=(("0", "not yet"), ("1", "ready")),
    help="Seen not yet and, a few days on, ready: the house learns how long it grows.",
    is_needed=True,
)


@dataclass(frozen=True, slots=True)
class Action:
    """One thing that can be done and written down.

    Attributes
    ----------
    key : str
        Short name, for the address of its form.
    kind : str
        Kind of entry.
    label : str
        What the button says.
    glyph : str
        Its drawing.
    group : str
        Heading under which it stands.
    fields : tuple of Field
        What is asked.
    job : str
        Key of the planned job that it ticks off; blank if none.
    planned : str
        What the plan says of it, in a sentence.
    caution : str
        What can hurt.
    done : str
        What the button of the form says.
    is_due : bool
        Whether the plan wants it about now.
    """

    key: str
    kind: str
    label: str
    glyph: str
    group: str
    fields: tuple[Field, ...]
    job: str = ""
    planned: str = ""
    caution: str = ""
    done: str = "Write it down"
    is_due: bool = False


def correction_fields(kind: EntryKind, found: Mapping[str, str]) -> tuple[Field, ...]:
    """Return the fields of a form that replaces an entry, filled in as it was.

    Parameters
    ----------
    kind : EntryKind
        Kind of the entry.
    found : mapping of str to str
        Its fields as text by name.

    Returns
    -------
    fields : tuple of Field
        Those that it has, and what a correction may want besides.
    """
    labels = {
        "day_date": ("day", "date"),
        "n": (_N_WORDS.get(kind, "how many"), "number"),
        "n_of": ("cells looked at", "number"),
        "trays": ("trays", "trays"),
        "place": ("place", "text"),
        "order": ("order", "text"),
        "container": ("container", "text"),
        "n_containers": ("containers", "number"),
        "crop": ("crop", "text"),
        "variety": ("variety", "text"),
        "lot": ("lot", "text"),
        "reason": ("reason", "text"),
        "note": ("note", "area"),
        "person": ("who", "text"),
    }
    always = {"day_date", "n", "trays", "note", "person"}
    out = []
    for name, (label, type_) in labels.items():
        if name in found or name in always:
            suggest = {"place": "places", "container": "containers"}.get(name, "")
            text = "text" if type_ == "trays" else type_
            help_ = TRAYS_HELP if type_ == "trays" else ""
            out.append(Field(name, label, text, found.get(name, ""), suggest=suggest, help=help_))
    for name, value in found.items():
        if name.startswith("values."):
            label, unit = _READING_WORDS.get(name, (name.removeprefix("values."), ""))
            out.append(Field(name, label, "text", value, unit))
    return tuple(out)


TRAYS_HELP: Final = "Numbers with commas between; blank is all of them."
_N_WORDS: Final = {
    EntryKind.SOWN: "cells sown",
    EntryKind.COUNTED: "cells with what is wanted",
    EntryKind.THINNED: "cells thinned",
    EntryKind.GAPPED_UP: "cells filled",
    EntryKind.POTTED_ON: "plants potted on",
    EntryKind.GRAFTED: "plants grafted",
    EntryKind.LOST: "cells lost",
    EntryKind.GRADED: "plants fit to hand over",
    EntryKind.DUMPED: "cells dumped",
    EntryKind.DELIVERED: "plants",
    EntryKind.BOUGHT_IN: "plants",
    EntryKind.RETURNED: "trays",
    EntryKind.WASHED: "trays",
}
_READING_WORDS: Final = {
    "values.ec_ms_cm": ("EC", "mS/cm"),
    "values.ph": ("pH", ""),
    "values.temp_mix_c": ("mix", "°C"),
    "values.temp_air_c": ("air", "°C"),
    "values.n_seeds": ("seeds", "seeds"),
    "values.plants_per_m2": ("plants a square meter", "1/m²"),
    "values.ready_to_enter_at": ("may be entered again", ""),
    "values.product": ("what was applied", ""),
    f"values.{CELLS_PER_TRAY}": ("cells of a full tray", "cells"),
}


def day_field(today: date) -> Field:
    """Ask for the day.

    Parameters
    ----------
    today : date
        The day in the house.

    Returns
    -------
    field : Field
        With today in it.
    """
    return Field("day_date", "day", "date", today.isoformat(), is_needed=True)


def who_field(*, is_needed: bool = False) -> Field:
    """Ask who writes it.

    Parameters
    ----------
    is_needed : bool, default False
        Whether it must be filled in.

    Returns
    -------
    field : Field
        A name.
    """
    return Field("person", "who", is_needed=is_needed)


def note_field(*, is_needed: bool = False) -> Field:
    """Ask for a few words.

    Parameters
    ----------
    is_needed : bool, default False
        Whether it must be filled in.

    Returns
    -------
    field : Field
        A text of some lines.
    """
    return Field("note", "note", "area", is_needed=is_needed)


def place_field(value: str = "", label: str = "to") -> Field:
    """Ask for a place.

    Parameters
    ----------
    value : str, default ""
        The place that the plan has.
    label : str, default "to"
        What is asked.

    Returns
    -------
    field : Field
        With the places of the house to choose from.
    """
    return Field("place", label, value=value, suggest="places", is_needed=True)


def number_field(
    label: str, value: object = "", *, name: str = "n", is_needed: bool = True
) -> Field:
    """Ask for a number of cells, plants or containers.

    Parameters
    ----------
    label : str
        What is counted.
    value : object, default ""
        What the plan has.
    name : str, default "n"
        Field of the entry.
    is_needed : bool, default True
        Whether it must be filled in.

    Returns
    -------
    field : Field
        A whole number.
    """
    return Field(name, label, "number", str(value), is_needed=is_needed)


def reading_fields() -> tuple[Field, ...]:
    """Ask for what meters show.

    Returns
    -------
    fields : tuple of Field
        EC, pH, temperature of mix and air.
    """
    return (
        Field("values.ec_ms_cm", "EC", "number", "", "mS/cm", step="0.01"),
        Field("values.ph", "pH", "number", step="0.01"),
        Field("values.temp_mix_c", "mix", "number", "", "°C", step="0.1"),
        Field("values.temp_air_c", "air", "number", "", "°C", step="0.1"),
    )


def treated_fields() -> tuple[Field, ...]:
    """Ask for what a record of a treatment must hold.

    Returns
    -------
    fields : tuple of Field
        What, when the place may be entered again, against what, by whom.
    """
    return (
        Field("values.product", "what was applied, as the label names it", is_needed=True),
        Field("values.ready_to_enter_at", "the place may be entered again", "time", is_needed=True),
        Field("reason", "against what"),
        note_field(),
        who_field(is_needed=True),
    )
