"""A module whose import ends the process, as the system does where memory is short."""

from __future__ import annotations

import os
import signal

os.kill(os.getpid(), signal.SIGKILL)
