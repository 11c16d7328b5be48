"""What all tests share: properties are tried on the same examples every time, unless somebody lets them wander."""

from __future__ import annotations

import os

from hypothesis import settings

# A test that fails now and then teaches people to look away. `WANDER=1 make test` looks further afield.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("wander", deadline=None, max_examples=1000)
settings.load_profile("wander" if os.environ.get("WANDER") else "steady")
