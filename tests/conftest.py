"""What all tests share."""

from hypothesis import settings

# The same examples on every run and no stopwatch: a slow machine is not a wrong answer.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")
