"""Workings of numbers: each comes to what the plan says, and names its sources."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import quote

import pytest
from bs4 import BeautifulSoup
from litestar import Litestar
from litestar.testing import TestClient

from sowbench.domain.plan import Sowing
from sowbench.science.errors import UnknownNameError
from sowbench.services.ahead_page import ahead_page
from sowbench.services.desk import Desk
from sowbench.services.orders_free import free_view
from sowbench.services.working_few import few_of_order, few_sowings
from sowbench.services.working_model import Recomputed
from sowbench.services.working_pages import NAMES, working_of

# Two exact sums of a chance that a plan rounds on the way, in steps of a cell, differ by less.
CHANCE_SLIP_FRAC = 0.002


def sowings_of(desk: Desk) -> list[Sowing]:
    """Return all sowings of the current plan."""
    with desk.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        return list(unit.plans.body(head.id).sowings)


def test_plants_ready_and_overgrown_of_every_sowing_come_to_what_the_plan_says(demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        for sowing in unit.plans.body(head.id).sowings:
            model = Recomputed(few_sowings(unit, head, [sowing.sowing]))
            assert model.spread(sowing) == sowing.plants, sowing.sowing
            assert model.ready(sowing) == sowing.ready_date, sowing.sowing
            assert model.overgrown(sowing) == sowing.overgrown_date, sowing.sowing


def test_chances_of_every_order_come_to_what_the_plan_says(demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        n_checked = 0
        for row in unit.plans.body(head.id).orders:
            if not row.hand_over:
                continue
            model = Recomputed(few_of_order(unit, head, row.order))
            found = model.chances(model.season.orders[row.order], row.planned)
            for here, plan in (
                (found.enough_frac, row.chance_enough_frac),
                (found.in_time_frac, row.chance_in_time_frac),
                (found.filled_frac, row.chance_filled_frac),
            ):
                assert here == pytest.approx(plan, abs=CHANCE_SLIP_FRAC), row.order
            n_checked += 1
    assert n_checked > 50


def test_minutes_of_one_job_of_each_task_come_to_what_the_plan_says(demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        found: dict[str, list[Any]] = {}
        for offset in range(0, 120, 3):
            for job in unit.sowings_page.jobs_on(head.id, head.from_date + timedelta(days=offset)):
                found.setdefault(job.task, []).append(job)
    assert {"sow", "move", "count", "thin", "water", "pack", "pot on"} <= set(found)
    for task, jobs in found.items():
        for job in jobs[:4]:
            working = working_of(demo_desk, "minutes", job.key)
            assert working.figure == pytest.approx(job.minutes, rel=0.02, abs=0.1), (task, job.key)
            assert "The plan has the same" in working.agrees


@pytest.mark.parametrize("offset_d", [10, 40, 64, 100])
def test_use_of_places_and_hands_adds_up_to_what_the_plan_says(demo_desk, offset_d):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        day = head.from_date + timedelta(days=offset_d)
        house = unit.houses.current()
        assert house is not None
    for place in ("warm bench", "cool bench", "lit chamber", "hands"):
        working = working_of(demo_desk, "use", place, day=day)
        assert working.figure == pytest.approx(working.planned, rel=0.02, abs=0.1), place


def test_cost_bound_and_gap_are_those_of_the_plan(demo_desk):
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
    cost, bound = working_of(demo_desk, "cost"), working_of(demo_desk, "bound")
    assert cost.figure == pytest.approx(head.cost, abs=0.01)
    assert bound.figure == pytest.approx(head.gap_frac, abs=1e-4)


def test_costs_of_all_sowings_make_the_materials_and_room_of_the_plan(demo_desk):
    # Without labor (changes of lot are shared) and shortage (it belongs to orders), the parts of
    # the sowings alone add up to those of the plan.
    from sowbench.services.working_money import sowing_cost

    wanted = ("seed", "container", "mix", "room", "late", "overgrown")
    total = dict.fromkeys(wanted, 0.0)
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        plan = unit.plans.body(head.id)
        for sowing in plan.sowings:
            model = Recomputed(few_sowings(unit, head, [sowing.sowing]))
            parts = sowing_cost(model, sowing)
            for name in wanted:
                total[name] += parts[name]
    for name in wanted:
        assert total[name] == pytest.approx(plan.cost_parts[name], rel=0.01, abs=0.5), name


def test_cells_working_names_the_fewest_cells_that_are_sure_enough(demo_desk):
    sowing = next(
        each for each in sowings_of(demo_desk) if not each.standing and len(each.orders) == 1
    )
    working = working_of(demo_desk, "cells", sowing.sowing)
    assert working.planned == sowing.n_seeds
    assert any("Fewest cells" in line.words for line in working.lines)
    assert any(each.name == "seeds tested" for each in working.inputs)


def test_mix_is_cells_by_volume_and_a_tenth(demo_desk):
    sowing = next(
        each
        for each in sowings_of(demo_desk)
        if not each.standing and {s.container for s in each.steps} == {"plug-128"}
    )
    working = working_of(demo_desk, "mix", sowing.sowing)
    # 25.1 ml a cell (reference, C21) and a tenth more (model section 10).
    assert working.figure == pytest.approx(sowing.n_cells * 25.1 / 1000 * 1.1)


def test_germination_of_a_lot_falls_with_its_age_where_constants_are_known(demo_desk):
    with demo_desk.book.reading() as unit:
        lots = unit.lots.all()
        aging = [
            each
            for each in lots
            if each.moisture_frac is not None and each.tested_on and not each.pelleted
        ]
    assert aging
    figures: list[Any] = [
        working_of(demo_desk, "germination", each.id, day=each.tested_on + timedelta(days=days))
        for each in aging
        for days in (0, 2000)
    ]
    pairs = list(zip(figures[::2], figures[1::2], strict=True))
    assert all(late.figure <= fresh.figure for fresh, late in pairs)
    assert any(late.figure < fresh.figure for fresh, late in pairs)


def test_every_input_of_every_working_says_where_it_comes_from(demo_desk):
    sowing = next(each for each in sowings_of(demo_desk) if not each.standing and each.orders)
    asked = [(what, sowing.sowing) for what in ("cells", "plants", "ready", "overgrown")]
    asked += [("mix", sowing.sowing), ("sowing-cost", sowing.sowing)]
    asked += [(what, sowing.orders[0].order) for what in ("enough", "in-time", "filled")]
    asked += [("cost", ""), ("bound", "")]
    for what, of in asked:
        working = working_of(demo_desk, what, of)
        assert working.lines, what
        assert working.where or working.sources, what
        for each in working.inputs:
            assert each.basis or each.value == "not given", (what, each)


def test_cited_sources_are_listed_with_their_citation(demo_desk):
    sowing = next(each for each in sowings_of(demo_desk) if not each.standing)
    working = working_of(demo_desk, "plants", sowing.sowing)
    assert "C115" in dict(working.sources)
    assert all(citation for _, citation in working.sources)


def test_fragment_is_no_page_and_shows_result_formula_inputs_and_changes(
    demo_client: TestClient[Litestar], demo_desk: Desk
):
    name = next(each.sowing for each in sowings_of(demo_desk) if not each.standing)
    answer = demo_client.get(f"/working/ready?of={quote(name)}")
    assert answer.status_code == 200
    soup: Any = BeautifulSoup(answer.text, "html.parser")
    assert soup.find("html") is None
    assert soup.select_one("h3").get_text().startswith("Ready window")
    assert len(soup.select("table.worked-inputs tbody tr")) > 8
    assert "stands under Learned" in soup.get_text()
    assert not soup.select("[style]")
    assert not soup.find_all("script")


def test_every_address_of_a_working_answers(demo_client, demo_desk):
    sowing = next(each for each in sowings_of(demo_desk) if not each.standing and each.orders)
    with demo_desk.book.reading() as unit:
        head = unit.plans.current()
        job = unit.sowings_page.jobs(head.id, sowing.sowing)[0]
        counted = next(e.entry.sowing for e in unit.journal.latest(300) if e.entry.cells)
        unmet = next(each for each in unit.plans.body(head.id).unmet if each.offers)
    week = next(each for each in free_view(demo_desk).weeks if each.crops)
    ahead = ahead_page(demo_desk)
    of = {
        "minutes": job.key,
        "germination": sowing.lot,
        "promised": "cost/day?crop=lettuce&plants=300&wanted_on=2027-05-20",
        "offer": f"cost/0/{unmet.order}",
        "supply": f"seed {sowing.lot}",
        "free": f"{week.crops[0].crop}|{week.crops[0].variety}",
        "day": "",
        "replicates": "4 x 100/96,91,90,84",
        "half-up": "lettuce/20",
        "container": "plug-128",
        "part": "seed",
        "counted": counted,
        "forecast-count": ahead.counts[0].sowing,
        "forecast-order": ahead.others[0].orders[0].name,
        **dict.fromkeys(("forecast", "forecast-ready"), ahead.others[0].name),
        **dict.fromkeys(("seeds-left", "seeds-taken"), sowing.lot),
        **dict.fromkeys(("use", "days", "press", "room-left", "climate"), "warm bench"),
        **dict.fromkeys(("enough", "in-time", "filled", "short"), sowing.orders[0].order),
    }
    for what in NAMES:
        day = f"&day={week.monday_date}" if what == "free" else ""
        asked = quote(of.get(what, sowing.sowing))
        answer = demo_client.get(f"/working/{what}?of={asked}{day}")
        assert answer.status_code == 200, (what, answer.text)
    assert demo_client.get("/working/mix").status_code == 200


@pytest.mark.parametrize(
    "address",
    ["/working/nonsense", "/working/plants?of=no+such", "/working/enough?of=no+such",
     "/working/germination?of=no+such", "/working/minutes?of=no/such/job",
     "/working/use?of=no+such", "/working/plants?of=x&plan=999"],
)  # fmt: skip
def test_what_does_not_exist_is_not_found(demo_client, address):
    answer = demo_client.get(address)
    assert answer.status_code == 404
    assert "nknown" in answer.text


def test_without_a_plan_a_working_says_so(client):
    assert client.get("/working/cost").status_code == 404


def test_a_misspelled_working_names_the_nearest(demo_desk):
    with pytest.raises(UnknownNameError, match="ready"):
        working_of(demo_desk, "redy", "x")


def test_a_working_says_what_changed_since_the_plan_was_made(demo_desk):
    from dataclasses import replace

    sowing = next(each for each in sowings_of(demo_desk) if not each.standing)
    with demo_desk.book.writing() as unit:
        lot = unit.lots.get(sowing.lot)
        worse = replace(lot, n_normal=lot.n_normal // 2)
        unit.lots.put([worse], demo_desk.clock(), "Ilo", "tested again")
        unit.commit()
    working: Any = working_of(demo_desk, "plants", sowing.sowing)
    assert working.figure < working.planned
    assert "have changed since the plan was made" in working.agrees


def test_a_working_is_the_same_on_any_day(demo_desk):
    sowing = sowings_of(demo_desk)[-1]
    first = working_of(demo_desk, "plants", sowing.sowing, day=date(2027, 3, 9))
    assert first == working_of(demo_desk, "plants", sowing.sowing, day=date(2027, 5, 1))
