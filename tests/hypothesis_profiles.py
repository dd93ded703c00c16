"""How far property tests look. A busy machine makes examples slow, not wrong: no run has a deadline.

`suite` and the quick look of `core` take the same examples every time; `deep` looks much further and at others.
"""

import os

import hypothesis
from hypothesis import HealthCheck

calm = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
hypothesis.settings.register_profile("suite", max_examples=30, derandomize=True, **calm)
hypothesis.settings.register_profile("core", max_examples=5, derandomize=True, **calm)
hypothesis.settings.register_profile("deep", max_examples=2_000, **calm)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "suite"))
