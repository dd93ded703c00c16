"""Settings of a server that a test or benchmark starts: everything it writes lies in its own data folder."""

from config.settings import *  # noqa: F403
from config.settings import DATA_DIR

STATIC_ROOT = DATA_DIR / "staticfiles"
