"""For runs under a moved clock (`.ci/clock`): a plugin that makes sleeping work there.

libfaketime 0.9.10 moves neither of the two clocks that Python waits by without breaking the other: with the
monotonic clock moved, waiting for an event never ends; left alone, `time.sleep` is refused. So that clock is left
alone, and sleeping waits for an event that never comes.
"""

import threading
import time


def sleep(seconds: float) -> None:
    threading.Event().wait(seconds)


time.sleep = sleep
