"""
What a wheel carries beside the sources: the browser's runtime, and the calls of the invented shop.

Where the runtime cannot be made (no network), the wheel is built without it, and its server says so.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class Runtime(BuildHookInterface[Any]):
    """Builds the runtime before a wheel, and names the files that go in."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build; ``version`` is ``standard`` or ``editable``."""
        if self.target_name != "wheel":
            return
        root = Path(self.root)
        sys.path.insert(0, str(root / "src"))
        from humclick.web.offline.build import BuildFailed, build

        try:
            build(root)
        except (BuildFailed, OSError) as error:
            self.app.display_warning(f"without the part that runs in the browser: {error}")
        if version == "standard":
            for call in sorted((root / "examples").glob("*/call.toml")):
                build_data["force_include"][str(call)] = f"humclick/web/examples/{call.parent.name}/call.toml"
