"""Where the open speech-to-intent data lies, if it is at hand; it is not in this repository."""

from __future__ import annotations

import os
from pathlib import Path

SPEECH = Path(os.environ.get("VOICELOG_SPEECH") or Path(__file__).parents[2] / "shared" / "speech")
"""Named by VOICELOG_SPEECH, or in a folder beside the checkout."""
