"""
What the page's own script has to say, by key: texts of the catalogue, in every language.
"""

from __future__ import annotations

import contextlib
import json

from humclick.messages import languages
from humclick.web.language import N_, language

__all__ = ["NOTICES", "words_script"]

#: By the key the script uses. ``{…}`` is filled there.
NOTICES: dict[str, str] = {
    "all-sent": N_("All entries are on the server"),
    "aside": N_("{n} entries set aside"),
    "aside-box": N_(
        "{n} entries are set aside: they stay on this device and in the file you hand out, and are not sent."
    ),
    "aside-box-one": N_(
        "One entry is set aside: it stays on this device and in the file you hand out, and is not sent."
    ),
    "aside-one": N_("1 entry set aside"),
    "copied": N_("Copied."),
    "nearly-full": N_(
        "This device is nearly full: about {left} MB are left for calls and photos. Send them to the"
        " server or export them, and make room."
    ),
    "no-cache": N_("This browser would not keep the program, so it needs the server."),
    "no-microphone": N_("The microphone cannot be used: it is not there, or was not allowed."),
    "no-python": N_("The program does not start in this browser, so it needs the server: {why}"),
    "no-recording": N_("Choose a recording first: a clamp's log (CSV) or a sound (WAV)."),
    "no-runtime": N_(
        "No work without a network: this server was set up without the part that runs in the browser."
    ),
    "no-server": N_("The server cannot be reached, and the program is not yet on this device. Try again."),
    "not-done": N_("That was not done, and nothing was kept: {why}"),
    "not-kept-full": N_("NOT KEPT: this device is full. Make room, then enter it again."),
    "not-taken": N_("{n} entries not taken"),
    "not-taken-one": N_("1 entry not taken"),
    "not-secure": N_(
        "Works only while the server is in reach: over plain http a browser keeps no program for work"
        " without a network."
    ),
    "refused-box": N_("The server does not take {n} entries. They stay on this device."),
    "refused-box-one": N_("The server does not take an entry. It stays on this device."),
    "send-again": N_("Send again"),
    "server-at": N_("server {at}"),
    "server-away": N_("server not reached"),
    "server-last": N_("server last reached {at}"),
    "server-not-ours": N_("a sign-in page is in the way"),
    "server-offline": N_("offline"),
    "server-storage": N_("the server can't store now"),
    "set-aside": N_("Set aside"),
    "stop": N_("Stop"),
    "to-what-was-typed": N_("Go back to it"),
    "typed-not-kept": N_("Typed, and not on record yet: {what}"),
    "straight": N_("Entries go straight to the server"),
    "to-send": N_("{n} entries to send"),
    "to-send-one": N_("1 entry to send"),
    "too-large": N_("too large for the server, or for what stands before it"),
    "understood": N_("Understood"),
    "updated": N_("A new version is here. It is used from the next start; this call goes on as it is."),
}


def words_script() -> str:
    """The texts as a script: a table by language and key; a language without a catalogue is left out."""
    table = {}
    for code in languages():
        with contextlib.suppress(FileNotFoundError):
            table[code] = {key: language(code).text(text) for key, text in NOTICES.items()}
    return f"export default {json.dumps(table, ensure_ascii=False)};\n"
