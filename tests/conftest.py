"""Settings shared by all tests."""

from hypothesis import settings

# No deadline: a busy machine is not a failure. Derandomized: the same examples each run.
# The thorough profile draws new ones: pytest --hypothesis-profile=thorough
settings.register_profile("default", deadline=None, derandomize=True)
settings.register_profile("thorough", deadline=None, max_examples=3000)
settings.load_profile("default")
