"""What every test run shares: Hypothesis profiles, and no log left unread."""

import os
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings

settings.register_profile("desk", max_examples=50, deadline=None)
settings.register_profile(
    "ci",
    max_examples=200,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "desk"))

# No test finds the calibrations of who runs it, nor leaves any behind.
os.environ["GRAMWATT_DATA"] = str(Path(tempfile.gettempdir()) / "gramwatt-no-shelf")
