"""What the tests of files share: a small table of crops, a small plan, files made in a line."""

import io
from datetime import date

import openpyxl
import pytest

from sowbench.domain.plan import (
    HandOver,
    Moved,
    Offer,
    OrderPlan,
    Plan,
    Price,
    Sowing,
    SowingShare,
    Span,
    Spread,
    Step,
    Supply,
    Task,
    Unmet,
)
from sowbench.domain.records import StepKind
from sowbench.science.errors import InputFileError, UnknownNameError

CROPS = {"lettuce": "lettuce", "salad": "lettuce", "kale": "kale", "basil": "basil"}


@pytest.fixture
def resolve_crop():
    def resolve(text):
        crop = CROPS.get(text.strip().casefold())
        if crop is None:
            raise UnknownNameError.among(text, "crop", CROPS)
        return crop

    return resolve


@pytest.fixture
def crop_unit():
    return {"lettuce": "plant", "kale": "plant", "basil": "cell"}.__getitem__


@pytest.fixture
def write(tmp_path):
    """Write a text, or bytes, to a file of the test's folder and return its path."""

    def write_file(name, content):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return write_file


@pytest.fixture
def workbook():
    """Return the bytes of a workbook with rows on its first sheet, or on sheets by name."""

    def make(rows):
        book = openpyxl.Workbook()
        sheets = rows if isinstance(rows, dict) else {"Sheet": rows}
        assert book.active is not None
        book.remove(book.active)
        for name, lines in sheets.items():
            sheet = book.create_sheet(name)
            for line in lines:
                sheet.append(line)
        stream = io.BytesIO()
        book.save(stream)
        return stream.getvalue()

    return make


@pytest.fixture
def problems_of():
    """Return the problems that a reader reports, as (row, column, value, message)."""

    def collect(read, *args, **kwargs):
        with pytest.raises(InputFileError) as caught:
            read(*args, **kwargs)
        return [(each.row, each.column, each.value, each.message) for each in caught.value.problems]

    return collect


def day(number, month=3):
    return date(2027, month, number)


@pytest.fixture
def plan():
    """Return a plan in which every record appears."""
    return Plan(
        from_date=day(1),
        until_date=day(30, 4),
        cost=123.45,
        cost_parts={"seed": 20.0, "labor": 103.45},
        bound=122.0,
        gap_frac=0.0119,
        gap_without_short_frac=0.0125,
        seconds=3.5,
        seed=7,
        assumptions=("label 0.02: default, change in [prices]",),
        orders=(
            OrderPlan(
                "kale Long Acre",
                240,
                200,
                0.96,
                0.8,
                0.78,
                41.25,
                ("germination of lot L1",),
                (HandOver(day(8, 4), "S-1", 120), HandOver(day(9, 4), "S-1", 80)),
            ),
        ),
        sowings=(
            Sowing(
                sowing="S-1",
                orders=(SowingShare("kale Long Acre", 200),),
                crop="kale",
                variety="",
                lot="L1",
                seeds_per_cell=1,
                plants_per_cell=(1, 1),
                n_cells=216,
                n_seeds=216,
                sow_date=day(4),
                steps=(
                    Step(StepKind.GERMINATE, "plug-72", 3, 216, 479.0, "Warm room", day(4), day(6)),
                    Step(
                        StepKind.GROW, "plug-72", 3, 216, 479.0, "North bench", day(6), day(10, 4)
                    ),
                ),
                ready_date=Span(day(2, 4), day(5, 4), day(9, 4)),
                overgrown_date=Span(day(15, 4), day(20, 4)),
                plants=Spread(190, 203, 211),
            ),
        ),
        unmet=(
            Unmet(
                "kale Long Acre",
                40,
                "room",
                (Offer("later", wanted_on=day(12, 4), cost_change=0.0, chance_filled_frac=0.9),),
                "North bench is full.",
            ),
        ),
        tasks=(
            Task(day(6), "carry", "S-1", "North bench", 1.25, 1, "out of the warm room"),
            Task(day(4), "sow", "S-1", "Warm room", 18.46),
        ),
        supplies=(Supply(day(4), day(20, 2), "plug-72", 3.0, "trays", 1.0, 2.0),),
        prices=(
            Price("place", "North bench", day(5, 4), 0.41),
            Price("crew", "", day(4), 0.02),
            Price("lot", "L1", day(4), 0.001),
            Price("container", "plug-72", day(4), 0.3),
        ),
        moved=(Moved("S-1", "sow_date", "2027-03-02", "2027-03-04"),),
    )
