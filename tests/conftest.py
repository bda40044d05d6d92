"""What all tests share."""

from hypothesis import settings

# A busy machine is no fault: what takes too long is told by seconds of work, where it matters.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
