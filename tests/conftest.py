"""What all tests share."""

from hypothesis import settings
from tests.store.databases import (  # noqa: F401 - fixtures for all
    address,
    book,
    new_address,
    server,
    shared_postgresql,
    template_file,
)

# The same examples on every run and no stopwatch: a slow machine is not a wrong answer.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")
