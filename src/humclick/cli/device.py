"""The name under which this terminal writes events, and under which its safety gates hold."""

from __future__ import annotations

import hashlib
import os
import platform
from pathlib import Path


def terminal() -> str:
    """
    The same name each time for one person on one machine, telling neither; ``HUMCLICK_DEVICE`` gives another.
    """
    name = os.environ.get("HUMCLICK_DEVICE", "").strip()
    who = hashlib.sha256(f"{platform.node()}\n{Path.home()}".encode("utf-8", "backslashreplace")).hexdigest()
    return name[:100] or f"terminal-{who[:8]}"
