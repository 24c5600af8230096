"""Run as a program: posts entries from standard input to a book, and says what is kept.

Each line is the id and the number of an entry; the same line goes out once it is committed.
"""

import sys
from datetime import UTC, date, datetime

from sowbench.domain.journal import Entry, EntryKind
from sowbench.store.book import open_book


def main() -> None:
    """Post what comes in, one entry a transaction."""
    book = open_book(sys.argv[1])
    sys.stdout.write("open\n")
    sys.stdout.flush()
    for line in sys.stdin:
        name, number = line.split()
        entry = Entry(
            id=name,
            day_date=date(2027, 3, 9),
            kind=EntryKind.LOST,
            sowing=f"S-{int(number) % 7}",
            n=1,
            trays=(1 + int(number) % 3,),
            job=f"job-{number}",
        )
        with book.writing() as unit:
            (answer,) = unit.journal.add([entry], datetime.now(UTC))
            unit.commit()
        sys.stdout.write(f"{answer.id} {answer.state}\n")
        sys.stdout.flush()
    book.close()


if __name__ == "__main__":
    main()
