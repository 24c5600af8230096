"""Whatever arrives in whatever order: the derived tables are what a rebuild and the fold make."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.store.databases import emptied
from tests.store.derived import derived_rows

from sowbench.domain.book import Taken
from sowbench.domain.journal import Entry, EntryKind, standing_entries
from sowbench.domain.life import sowing_life, ticked_jobs
from sowbench.domain.records import Standing

K = EntryKind
NOW = datetime(2027, 3, 9, 8, 30, tzinfo=UTC)
STOOD = Standing("S-0", "tomato", "", "L-9", "pot-6", 3, 16, "bench", date(2027, 2, 1))

_entries = st.builds(
    Entry,
    id=st.just(""),
    day_date=st.dates(date(2027, 3, 1), date(2027, 3, 4)),
    kind=st.sampled_from(list(K)),
    sowing=st.sampled_from(["S-0", "S-1", "S-2", ""]),
    n=st.none() | st.integers(0, 30),
    order=st.sampled_from(["", "O-1"]),
    place=st.sampled_from(["", "bench", "yard"]),
    lot=st.sampled_from(["", "L-1"]),
    n_containers=st.none() | st.integers(1, 3),
    at=st.none() | st.just(NOW),
    person=st.sampled_from(["Ana", "Ben"]),
    trays=st.lists(st.integers(1, 4), max_size=2).map(tuple),
    values=st.sampled_from([{}, {"last": 1.0}]),
    job=st.sampled_from(["", "", "j-1", "j-2"]),
)


@st.composite
def arrivals(draw):
    """Draw entries with corrections among them, cut into posts, some of them sent again."""
    drawn = draw(st.lists(_entries, min_size=1, max_size=12))
    entries = []
    for at, one in enumerate(drawn):
        target = draw(st.none() | st.integers(0, len(drawn) - 1))
        corrects = "" if target is None or target == at else f"e{target}"
        if corrects and draw(st.booleans()):
            one = Entry("", one.day_date, K.CORRECTED, one.sowing)  # noqa: PLW2901
        entries.append(replace(one, id=f"e{at}", corrects=corrects))
    entries = draw(st.permutations(entries))
    again = draw(st.lists(st.sampled_from(entries), max_size=4))
    cut = draw(st.integers(0, len(entries)))
    return [each for each in (entries[:cut], again, entries[cut:], entries[:2]) if each]


@given(arrivals(), st.booleans())
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_derived_tables_follow_whatever_arrives(book, posts, stood):
    emptied(book)
    taken = []
    for number, post in enumerate(posts):
        with book.writing() as unit:
            answers = unit.journal.add(post, NOW + timedelta(minutes=number))
            if number == 0 and stood:
                unit.standings.put([STOOD], NOW, "", "")
            unit.commit()
        for one, answer in zip(post, answers, strict=True):
            assert answer.state in {Taken.TAKEN, Taken.KNOWN}
            if answer.state is Taken.TAKEN:
                taken.append(one)
    assert len({each.id for each in taken}) == len(taken)

    found = derived_rows(book)
    with book.writing() as unit:
        n_sowings = unit.journal.rebuild()
        in_order = unit.journal.that_stand()
        unit.commit()
    assert derived_rows(book) == found

    # The entries that stand, by the rule of the domain; only their order within a day differs,
    # where one replaces another.
    standing = standing_entries(taken)
    assert sorted(each.id for each in in_order) == sorted(each.id for each in standing)
    starts = {"S-0": STOOD} if stood else {}
    names = {each.sowing for each in standing if each.sowing} | set(starts)
    assert n_sowings == len(names)
    lives = {
        name: sowing_life(
            name, [each for each in in_order if each.sowing == name], starts.get(name)
        )
        for name in names
    }
    assert {row[0]: row[1:] for row in found["sowing_life"]} == {
        name: (
            *(one.crop, one.variety, one.lot, one.sown_date, one.n_cells, one.n_seeds),
            *(one.n_lost, one.n_delivered, one.counted_date, one.n_right, one.n_seen),
            *(one.place, one.ended_date, one.last_entry_at, one.n_entries),
        )
        for name, one in lives.items()
    }
    assert {row[:2] for row in found["tray"]} == {
        (name, tray.number) for name, one in lives.items() for tray in one.trays
    }
    assert sorted(row[0] for row in found["delivery"]) == sorted(
        each.id for each in standing if each.kind is K.DELIVERED
    )
    assert {row[0]: row[1] for row in found["job_done"]} == {
        key: each.entry for key, each in ticked_jobs(standing).items()
    }
