"""What is worked on in the tests of jobs: nothing, for as long as is wanted."""

import os
import time

from app.evidence_jobs import Tell
from app.evidence_session import Session


def wait(session: Session, tell: Tell, seconds: float) -> int:
    """Tell that something is done for so long, and return who did it."""
    end_s = time.monotonic() + seconds
    while time.monotonic() < end_s:
        tell(0.5, "Waiting.")
        time.sleep(0.02)
    return os.getpid()
