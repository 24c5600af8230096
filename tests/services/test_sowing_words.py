"""What is true of a sowing, in a sentence."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import numpy as np
import pytest

from sowbench.domain.plan import Sowing, SowingShare, Span, Spread, Step
from sowbench.domain.ports.sowings_page import Life, TrayGroup
from sowbench.domain.records import StepKind
from sowbench.reference.catalog import load_catalog
from sowbench.services.sowing_emergence import Curve
from sowbench.services.sowing_words import (
    Level,
    heading_of,
    stands_words,
    state_sentence,
    title_of,
    trays_of,
)

SOWN = date(2027, 3, 1)
PLANNED = Sowing(
    "kale 03-01 a", (SowingShare("N1", 100),), "kale", "Winter", "L1", 1, (1, 1), 128, 128, SOWN,
    (
        Step(StepKind.GERMINATE, "plug-128", 1, 128, 680.0, "chamber", SOWN, date(2027, 3, 4)),
        Step(StepKind.GROW, "plug-128", 1, 128, 680.0, "bench", date(2027, 3, 4),
             date(2027, 4, 12)),
        Step(StepKind.TONE, "plug-128", 1, 128, 680.0, "yard", date(2027, 4, 12),
             date(2027, 4, 16)),
    ),
    Span(date(2027, 4, 10), date(2027, 4, 16), date(2027, 4, 24)),
    Span(date(2027, 4, 22), date(2027, 4, 28)),
    Spread(95, 104, 110),
)  # fmt: skip
LIFE = Life(
    PLANNED.sowing,
    "kale",
    "Winter",
    "L1",
    SOWN,
    128,
    0,
    0,
    None,
    None,
    None,
    "bench",
    None,
    None,
    1,
)
WORSE = "Coming up worse than planned"
# Half up on day 7, 80 to 90 % in the end.
HOURS = np.arange(0, 15 * 24 + 1, 24.0)
RISE = np.clip((HOURS / 24 - 4) / 6, 0, 1)
CURVE = Curve(
    datetime.combine(SOWN, time(12)), HOURS, 0.8 * RISE, 0.85 * RISE, 0.9 * RISE, date(2027, 3, 8)
)


def counted(n_right: int, n_seen: int, day: date) -> Life:
    """Return the life with a count."""
    return replace(LIFE, counted_date=day, n_right=n_right, n_seen=n_seen)


@pytest.mark.parametrize(
    ("today", "words", "level"),
    [
        (date(2027, 2, 20), "To be sown Mon 1 March.", Level.PLAIN),
        (SOWN, "To be sown today.", Level.WATCH),
        (date(2027, 3, 3), "Was to be sown Mon 1 March; nobody has said that it was.", Level.ACT),
    ],
)
def test_what_is_not_sown_waits_for_its_day_and_is_then_late(today, words, level):
    sentence = state_sentence(None, PLANNED, today)
    assert (sentence.words, sentence.level) == (words, level)


def test_a_count_is_said_with_its_share_and_day():
    day = date(2027, 3, 12)
    sentence = state_sentence(counted(112, 128, day), PLANNED, day + timedelta(days=1))
    assert sentence.words.startswith("Counted yesterday: 112 of 128 cells right, 88 %.")
    assert sentence.level is Level.PLAIN


def test_a_share_that_falls_short_of_what_is_wanted_is_said():
    # 90 of 128 cells are less than the 100 plants that are wanted.
    day = date(2027, 3, 12)
    sentence = state_sentence(counted(90, 128, day), PLANNED, day)
    assert "falls short of the 100 wanted" in sentence.words
    assert sentence.level is Level.WATCH


def test_a_share_of_a_sample_speaks_for_all_cells():
    # 20 of 20 looked at: all 128 would be right, more than 100.
    day = date(2027, 3, 12)
    assert state_sentence(counted(20, 20, day), PLANNED, day).level is Level.PLAIN


def test_plants_that_went_out_still_count_for_what_is_wanted():
    day = date(2027, 4, 10)
    life = replace(counted(90, 128, day), n_delivered=30)
    assert state_sentence(life, PLANNED, day).level is Level.PLAIN


@pytest.mark.parametrize(
    ("today", "level", "word"),
    [
        (date(2027, 4, 16), Level.GOOD, "Ready by the plan"),
        (date(2027, 4, 28), Level.ACT, "Past its window"),
    ],
)
def test_ready_and_overgrown_go_by_the_plan(today, level, word):
    sentence = state_sentence(LIFE, PLANNED, today)
    assert sentence.level is level
    assert sentence.words.startswith(word)


def test_the_end_is_said_with_what_was_handed_over():
    ended = replace(LIFE, ended_date=date(2027, 4, 20), n_delivered=100)
    assert state_sentence(ended, PLANNED, date(2027, 4, 20)).words == (
        "Ended today: 100 plants handed over."
    )


@pytest.mark.parametrize(
    ("share", "level", "words"),
    [
        (0.85, Level.GOOD, "Coming up as planned: 85 % of cells"),
        (0.95, Level.GOOD, "Coming up better than planned: 95 % of cells"),
        (
            0.75,
            Level.WATCH,
            "Coming up worse than planned: 75 % of cells, 80 % to 90 % by the plan",
        ),
        (0.40, Level.ACT, "Coming up worse than planned: 40 % of cells, 80 % to 90 % by the plan"),
    ],
)
def test_heading_holds_the_last_count_against_the_plan_of_its_day(share, level, words):
    day = date(2027, 3, 14)
    sentence = heading_of(LIFE, PLANNED, CURVE, (day, share), day)
    assert (sentence.words, sentence.level) == (words, level)


def test_heading_does_not_blame_an_early_count():
    # On day 6 a third is up by the plan: 30 % is not worse than planned.
    day = date(2027, 3, 7)
    assert heading_of(LIFE, PLANNED, CURVE, (day, 0.28), day).level is Level.GOOD


def test_heading_of_an_old_count_says_when_it_is_ready():
    sentence = heading_of(LIFE, PLANNED, CURVE, (date(2027, 3, 14), 0.85), date(2027, 4, 5))
    assert sentence.words == "Ready about Fri 16 April; 85 % of cells at the count of 14 Mar"


def test_heading_before_emergence_says_when_to_look():
    sentence = heading_of(LIFE, PLANNED, CURVE, None, date(2027, 3, 4))
    assert sentence.words == "Nothing to see yet: half is up about Mon 8 March"


def test_heading_after_emergence_asks_for_a_count():
    sentence = heading_of(LIFE, PLANNED, CURVE, None, date(2027, 3, 15))
    assert "nobody has counted" in sentence.words
    assert sentence.level is Level.WATCH


def test_titles_say_trays_for_plugs_and_pieces_for_cubes():
    containers = load_catalog().containers
    tray = title_of("Kale", "Winter", 14, containers["plug-128"], "plug-128")
    assert tray == "Kale 'Winter', 14 trays of 128 cells"
    assert title_of("Kale", "", 1, containers["plug-72"], "plug-72") == "Kale, 1 tray of 72 cells"
    assert title_of("Kale", "", 3, None, "own-tray") == "Kale, 3 x own-tray"
    assert title_of("Kale", "", 0, None, "") == "Kale"


def test_trays_in_two_places_are_counted_by_place():
    groups = [
        TrayGroup("a", "bench", "plug-128", 9, 0), TrayGroup("a", "yard", "plug-128", 5, 0),
    ]  # fmt: skip
    assert stands_words(groups) == "9 bench and 5 yard"
    assert trays_of(None, groups) == (14, "plug-128")
