"""What the page's own script has to say, by key: texts of the catalogue, in every language."""

from __future__ import annotations

import contextlib
import json

from humclick.messages import languages
from humclick.sourced import read_data
from humclick.web.language import language

#: By the key the script uses. ``{…}`` is filled there.
NOTICES: dict[str, str] = read_data("humclick.web", "words.toml")["notices"]


def words_script() -> str:
    """The texts as a script: a table by language and key; a language without a catalogue is left out."""
    table = {}
    for code in languages():
        with contextlib.suppress(FileNotFoundError):
            table[code] = {key: language(code).text(text) for key, text in NOTICES.items()}
    return f"export default {json.dumps(table, ensure_ascii=False)};\n"
