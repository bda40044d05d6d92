"""What all tests share."""

import os

from hypothesis import settings

# A busy machine is no fault: what takes too long is told by seconds of work, where it matters.
# In CI the same examples are tried every time; at home new ones.
settings.register_profile("unhurried", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("unhurried")
