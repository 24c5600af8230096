"""What was acknowledged is there: after kill -9, on a full disk, beside other writers."""

import contextlib
import json
import random
import signal
import socket
import subprocess
import sys
import threading
import time
import uuid
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from pathlib import Path

import httpx
import pytest
from sqlalchemy import make_url, select, text
from tests.store.databases import emptied
from tests.store.derived import derived_rows

from sowbench.domain.journal import Entry, EntryKind
from sowbench.science.errors import BookBusyError, BookOpenError, StoreFullError
from sowbench.store import engine as engines
from sowbench.store.book import open_book
from sowbench.store.tables import entry as entries
from sowbench.store.tables import job_done, sowing_life

LIMITED = Path(__file__).with_name("limited_writer.py")
WRITER = Path(__file__).with_name("journal_writer.py")
N_ENTRIES = 1000
# A server of its own keeps the word of PostgreSQL; a few times show that we keep ours.
N_KILLS = {"sqlite": 20, "postgresql": 5}
PER_POST = 4
NOW = datetime(2027, 3, 9, 8, 30, tzinfo=UTC)


def start_writer(address):
    """Start a program that posts what it reads."""
    return subprocess.Popen(
        [sys.executable, WRITER, address],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def serve(address, folder):
    """Start `sowbench serve` on a database; return the process and where it answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    arguments = ["--data", folder, "--url", address, "--port", str(port), "--json"]
    server = subprocess.Popen(
        [sys.executable, "-m", "sowbench", "serve", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert server.stdout is not None
    said = ""
    while not said.endswith("}\n"):
        line = server.stdout.readline()
        assert line, f"sowbench serve ended with {server.wait()}"
        said += line
    return server, json.loads(said)["address"]


def post_until_killed(server, url, waiting, n_before_kill, wait_s):
    """Post entries from two phones; kill the server after so many answers, or not at all.

    Return the ids of those that were answered for.
    """
    acknowledged: set[str] = set()
    answered = threading.Semaphore(0)
    posts = iter([waiting[at : at + PER_POST] for at in range(0, len(waiting), PER_POST)])
    taking = threading.Lock()

    def phone():
        with httpx.Client(base_url=url) as client, contextlib.suppress(httpx.TransportError):
            token = client.get("/entries/token").json()["token"]
            while True:
                with taking:
                    post = next(posts, None)
                if post is None:
                    return
                answer = client.post("/entries", json=post, headers={"x-csrftoken": token})
                assert answer.status_code == 200
                assert {each["state"] for each in answer.json()} <= {"taken", "known"}
                acknowledged.update(each["id"] for each in answer.json())
                answered.release()

    with ThreadPoolExecutor(2) as phones:
        done = [phones.submit(phone) for _ in range(2)]
        if n_before_kill is not None:
            for _ in range(n_before_kill):
                assert answered.acquire(timeout=60)
            time.sleep(wait_s)
            server.kill()
        for each in done:
            each.result()
    return acknowledged


def test_kill_9_loses_nothing_that_was_acknowledged(address, tmp_path):
    rng = random.Random(20)
    everything = [
        {
            "id": f"{rng.getrandbits(128):032x}",
            "day_date": "2027-03-09",
            "kind": "lost",
            "sowing": f"S-{at % 7}",
            "n": 1,
            "trays": [1 + at % 3],
            "job": f"job-{at}",
        }
        for at in range(N_ENTRIES)
    ]
    acknowledged: set[str] = set()
    for kills_left in range(N_KILLS[make_url(address).get_backend_name()], 0, -1):
        # What was not answered for is sent again, as a phone does.
        waiting = [each for each in everything if each["id"] not in acknowledged]
        most = len(waiting) // PER_POST // (kills_left + 1)
        server, url = serve(address, tmp_path)
        acknowledged |= post_until_killed(
            *(server, url, waiting, rng.randint(1, most), rng.uniform(0, 0.01))
        )
        assert server.wait() == -signal.SIGKILL
        server.stdout.close()
        check_kept(address, acknowledged)

    server, url = serve(address, tmp_path)
    waiting = [each for each in everything if each["id"] not in acknowledged]
    assert len(waiting) > PER_POST  # the last kill was in the midst of it
    acknowledged |= post_until_killed(server, url, waiting, None, 0.0)
    server.send_signal(signal.SIGINT)
    server.wait()
    server.stdout.close()
    assert acknowledged == {each["id"] for each in everything}
    check_kept(address, acknowledged)
    book = open_book(address)
    with book.reading() as unit:
        assert unit.journal.n_entries() == N_ENTRIES
    before = derived_rows(book)
    with book.writing() as unit:
        unit.journal.rebuild()
        unit.commit()
    assert derived_rows(book) == before
    book.close()


def check_kept(address, acknowledged):
    """Check that the book opens, holds what was acknowledged once, and what follows from it."""
    book = open_book(address)
    with book.reading() as unit:
        kept = list(unit._connection.execute(select(entries.c.id)).scalars())
        n_lost = sum(unit._connection.execute(select(sowing_life.c.n_lost)).scalars())
        n_jobs = len(unit._connection.execute(select(job_done.c.key)).all())
    book.close()
    assert len(set(kept)) == len(kept)
    assert acknowledged <= set(kept)
    assert n_lost == n_jobs == len(kept)


def test_two_processes_that_post_the_same_entries_count_them_once(address):
    lines = [(uuid.UUID(int=at).hex, at) for at in range(60)]
    writers = [start_writer(address) for _ in range(2)]
    for each in writers:
        assert each.stdin is not None
        each.stdin.write("".join(f"{name} {number}\n" for name, number in lines))
        each.stdin.close()
    answers = []
    for each in writers:
        assert each.stdout is not None
        answers.append([line.split()[-1] for line in each.stdout][1:])
        each.stdout.close()
        assert each.wait() == 0
    for pair in zip(*answers, strict=True):
        assert sorted(pair) == ["known", "taken"]
    book = open_book(address)
    with book.reading() as unit:
        assert unit.journal.n_entries() == 60
        assert sum(unit._connection.execute(select(sowing_life.c.n_lost)).scalars()) == 60
    book.close()


def note(number, size=50_000):
    return Entry(
        f"{number:032x}", date(2027, 3, 9), EntryKind.NOTED, "S-1", note=f"{number}" + "x" * size
    )


def add(book, *some):
    with book.writing() as unit:
        unit.journal.add(some, NOW)
        unit.commit()


def fill(book, first):
    """Write notes until there is no room; return how many were kept, and the error."""
    for number in range(first, first + 2000):
        try:
            add(book, note(number))
        except StoreFullError as error:
            return number, error
    pytest.fail("the disk never was full")


def check_said(words):
    """Check what a person is told."""
    assert "Nothing of this was kept; what was there before is safe." in words
    assert "book.sqlite is full" in words


def check_full(book, kept, error):
    """Check that all that was kept is there, and that the book can be read."""
    check_said(str(error))
    with book.reading() as unit:
        assert unit.journal.n_entries() == kept
        assert unit.journal.get(note(kept - 1).id).entry == note(kept - 1)
    assert derived_rows(book)["sowing_life"][0][-1] == kept


def test_a_full_sqlite_loses_nothing(tmp_path):
    book = open_book(f"sqlite:///{tmp_path / 'book.sqlite'}")
    with book.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        # The limit is of the connection; the pool gives the same one out again.
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 100}")
    kept, error = fill(book, 0)
    assert kept > 2
    check_full(book, kept, error)
    with book.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 1000000")
    add(book, note(kept), note(kept + 1))
    with book.reading() as unit:
        assert unit.journal.n_entries() == kept + 2
    book.close()


def test_a_post_that_does_not_fit_is_not_kept_in_part(tmp_path):
    book = open_book(f"sqlite:///{tmp_path / 'book.sqlite'}")
    add(book, note(0))
    before = derived_rows(book)
    with book.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 40}")
    with pytest.raises(StoreFullError, match=r"book\.sqlite is full"):
        add(book, *(note(at) for at in range(1, 100)))
    assert derived_rows(book) == before
    add(book, note(1, 10))
    book.close()


def test_a_file_that_may_not_grow_loses_nothing(tmp_path):
    address = f"sqlite:///{tmp_path / 'book.sqlite'}"
    open_book(address).close()
    done = subprocess.run(
        [sys.executable, LIMITED, address], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["found"] == told["kept"] > 10
    book = open_book(address)
    with book.reading() as unit:
        assert unit.journal.n_entries() == told["kept"] + 1
    check_said(told["said"])
    assert derived_rows(book)["sowing_life"][0][-1] == told["kept"] + 1
    book.close()


def test_a_full_server_loses_nothing(shared_postgresql):
    emptied(shared_postgresql)
    add(shared_postgresql, note(0))
    before = derived_rows(shared_postgresql)
    with shared_postgresql.engine.begin() as connection:
        connection.execute(
            text(
                "CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
                " RAISE EXCEPTION 'could not extend file' USING ERRCODE = 'disk_full'; END $$"
            )
        )
        connection.execute(
            text(
                "CREATE TRIGGER full_disk BEFORE INSERT ON tray FOR EACH ROW"
                " EXECUTE FUNCTION full_disk()"
            )
        )
    count = Entry("f" * 32, date(2027, 3, 9), EntryKind.COUNTED, "S-1", 3, trays=(1,), n_of=4)
    try:
        with pytest.raises(StoreFullError, match="disk of the database server is full"):
            add(shared_postgresql, note(1), count)
        assert derived_rows(shared_postgresql) == before
    finally:
        with shared_postgresql.engine.begin() as connection:
            connection.execute(text("DROP TRIGGER full_disk ON tray"))
            connection.execute(text("DROP FUNCTION full_disk"))
    add(shared_postgresql, note(1), count)
    assert len(derived_rows(shared_postgresql)["tray"]) == 1


def test_a_writer_who_waits_too_long_is_told(address, monkeypatch):
    monkeypatch.setattr(engines, "BUSY_WAIT_S", 0.2)
    first, second = open_book(address), open_book(address)
    with first.writing() as unit:
        unit.settings.put("a", "1")
        with pytest.raises(BookBusyError, match=r"writing to .* for too long"):
            add(second, note(1, 10))
        with second.reading() as reader:  # readers do not wait
            assert reader.settings.get("a", "none") == "none"
        unit.commit()
    add(second, note(1, 10))
    with second.reading() as reader:
        assert reader.settings.get("a") == "1"
    first.close()
    second.close()


def test_a_reader_sees_one_state_throughout(address):
    first, second = open_book(address), open_book(address)
    with first.reading() as unit:
        assert unit.journal.n_entries() == 0
        add(second, note(1, 10))
        assert unit.journal.n_entries() == 0
    with first.reading() as unit:
        assert unit.journal.n_entries() == 1
    first.close()
    second.close()


def test_a_reader_cannot_write(address):
    book = open_book(address)
    with pytest.raises(BookOpenError, match="cannot be written"), book.reading() as unit:
        unit.settings.put("a", "1")
    add(book, note(1, 10))
    book.close()
