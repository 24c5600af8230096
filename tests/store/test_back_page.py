"""What looking back reads, on both databases."""

from datetime import UTC, date, datetime

from tests.store.derived import plan_of, sowing_of

from sowbench.domain.book import NewPlan
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import Order

NOW = datetime(2027, 3, 9, 8, tzinfo=UTC)
DAY = date(2027, 3, 1)
YEAR = (date(2027, 1, 1), date(2027, 12, 31))


def test_a_season_is_read_with_its_corrections_and_without_what_is_of_another(book):
    wanted = date(2027, 4, 1)
    with book.writing() as unit:
        assert unit.back_page.days() is None
        number = unit.plans.add(NewPlan(plan_of(sowings=(sowing_of("S-1"),)), (), {}), NOW, "")
        unit.plans.accept(number, NOW)
        unit.orders.put(
            [Order("O-1", "kale", 20, wanted, wanted, wanted),
             Order("O-2", "kale", 20, wanted, wanted, wanted, status="cancelled"),
             Order("O-3", "kale", 20, date(2026, 4, 1), date(2026, 4, 1), date(2026, 4, 1))],
            NOW, "", "",
        )  # fmt: skip
        unit.journal.add(
            [
                Entry("a" * 32, DAY, EntryKind.SOWN, "S-1", n=30),
                Entry("b" * 32, wanted, EntryKind.DELIVERED, "S-1", n=25, order="O-1"),
                Entry("c" * 32, wanted, EntryKind.DELIVERED, "S-1", n=20, order="O-1",
                      values={"last": 1}, corrects="b" * 32),
                Entry("d" * 32, date(2026, 3, 1), EntryKind.SOWN, "S-0", n=30),
                Entry("e" * 32, date(2026, 4, 1), EntryKind.DUMPED, "S-0"),
                Entry("f" * 32, DAY, EntryKind.WATERED, "", job="2027-03-01/water//bench"),
            ],
            NOW,
        )  # fmt: skip
        unit.commit()
    with book.reading() as unit:
        page = unit.back_page
        assert page.days() == (date(2026, 3, 1), wanted)
        assert [each.id for each in page.orders(*YEAR)] == ["O-1"]
        entries = page.entries(*YEAR)
        assert {name: [each.id[0] for each in of] for name, of in entries.items()} == {
            "S-1": ["a", "c"]
        }
        assert [(each.sowing, each.plants) for each in page.deliveries(*YEAR)] == [("S-1", 20)]
        assert [each[0] for each in page.planned(*YEAR).values()] == [number]
        assert [each.id[0] for each in page.house_entries(*YEAR).values()] == ["f"]
        (job,) = page.jobs_done(*YEAR)
        assert (job.entry[0], job.sowing, job.minutes) == ("f", "", 0.0)  # no plan has it
