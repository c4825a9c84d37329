"""
Messages: what the program says, as a value; one translator a language makes the words.

A message is an id and its values. The id is the English sentence, with named places in braces::

    Message("{value}: reads like a good {part}.", value="12 Ω", part=Message("start relay"))

A value is a number, a text that is the same in every language (a reading, a name somebody typed), another
message, or a tuple of these: a list, joined as the language joins it. The format of a place may ask for
digits (``{share:.1f}``) or say how a list is joined: ``{faults:or}``, ``{remedies:and}``, ``semicolon``,
``plus``, ``space``, ``columns``, ``rows``; a comma where nothing is said.

A message *is* its US English text, so it can be printed, compared and stored as one; `translator` says it in
another language from the catalogue ``locale/<language>/LC_MESSAGES/humclick.mo``. A sentence is never made by
adding strings: what is added is lost to the other languages.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Union

if TYPE_CHECKING:
    import gettext

__all__ = [
    "ENGLISH",
    "LOCALES",
    "NOTHING",
    "N_",
    "Message",
    "Translator",
    "Value",
    "Verbatim",
    "as_data",
    "catalogue_file",
    "counted",
    "from_data",
    "languages",
    "listed",
    "nothing",
    "translator",
]

#: Language of the ids.
ENGLISH = "en"
#: Where the program's catalogues stand.
LOCALES = Path(__file__).with_name("locale")
#: Name of the environment's variable with a folder of more catalogues.
MORE_LOCALES = "HUMCLICK_LOCALES"

Value = Union[str, int, float, "tuple[Value, ...]"]

_PLACE = re.compile(r"\{(\w+)(?::([^{}]*))?\}")
_DECIMAL = re.compile(r"(?<![\w.,])(\d+)\.(\d+)(?![\w.]*\.\w)")


def N_(text: str) -> str:  # noqa: N802  the name every catalogue tool knows
    """Mark a text for the catalogue; it is looked up where it is shown."""
    return text


#: What joins the members of a list, and its last two, by the format of the place.
_JOINS: Mapping[str, tuple[str, str]] = {
    "": (N_(", "), N_(", ")),
    "and": (N_(", "), N_(" and ")),
    "or": (N_(", "), N_(" or ")),
    "semicolon": (N_("; "), N_("; ")),
    "plus": (N_(" + "), N_(" + ")),
    "space": (" ", " "),
    "columns": ("  ", "  "),
    "rows": ("\n  ", "\n  "),
}
#: Tells the decimal mark of a language.
_A_HALF = N_("0.5")
#: Stands for a decimal point that is none, while a message is said.
_POINT = "\ue000"
#: Of a message without places.
_NO_VALUES: Mapping[str, Value] = MappingProxyType({})
#: The name of a language, in itself.
_OWN_NAME = N_("English")


def _cased(text: str, first: str) -> str:
    if not first:
        return text
    return (text[:1].upper() if first == "upper" else text[:1].lower()) + text[1:]


def _filled(template: str, values: Mapping[str, Value], text: Callable[[str], str]) -> str:
    """A template with its places filled; a place without a value stays as it is."""

    def fill(place: re.Match[str]) -> str:
        name, form = place[1], place[2] or ""
        return _shown(values[name], form, text) if name in values else place[0]

    return _PLACE.sub(fill, template)


def _shown(value: Value, form: str, text: Callable[[str], str]) -> str:
    if isinstance(value, str):
        return text(value)
    if isinstance(value, tuple):
        between, last = _JOINS[form]
        members = [_shown(member, "", text) for member in value]
        head = text(Message(between)).join(members[:-1])
        return text(Message(last)).join(part for part in (head, *members[-1:]) if part)
    return format(value, form or "g") if isinstance(value, float) else format(value, form)


class Message(str):
    """
    An id and its values; as a string, its US English text.

    Parameters
    ----------
    id : str
        English, with named places in braces. Braces are places only where values are given.
    **values
        What stands in the places.

    Examples
    --------
    >>> Message("{part}: {mode}", part=Message("start relay"), mode=Message("open"))
    'start relay: open'
    >>> Message("speaks for {faults:or}.", faults=("open", "burnt", "wet")).capital()
    'Speaks for open, burnt or wet.'
    """

    __slots__ = ("first", "id", "many", "number", "values")

    id: str
    values: Mapping[str, Value]
    #: Id for any number but one; empty where nothing is counted.
    many: str
    #: What is counted.
    number: int
    #: ``upper`` or ``lower`` where the first letter is made so; else empty.
    first: str

    def __new__(cls, id: str, /, **values: Value) -> Message:  # noqa: D102  said by the class
        return _message(id, values)

    @classmethod
    def of(cls, id: str, /, **values: Value) -> Message:
        """A message whose id stands in a data file, where the catalogue tool finds it; a message as it is."""
        return id if isinstance(id, Message) and not values else _message(id, values)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a message is not changed")

    def __reduce__(self) -> tuple[Callable[..., Message], tuple[object, ...]]:
        return _message, (self.id, dict(self.values), self.many, self.number, self.first)

    def with_values(self, change: Callable[[str], Value]) -> Message:
        """The same with every plain string among its values, however deep, changed."""

        def changed(value: Value) -> Value:
            if isinstance(value, tuple):
                return tuple(map(changed, value))
            if isinstance(value, Message):
                return value.with_values(change)
            return change(value) if isinstance(value, str) else value

        values = {name: changed(value) for name, value in self.values.items()}
        return _message(self.id, values, self.many, self.number, self.first)

    def capital(self) -> Message:
        """The same with a capital first letter, as at the head of a sentence."""
        return _message(self.id, self.values, self.many, self.number, "upper")

    def small(self) -> Message:
        """The same with a small first letter, as inside a sentence."""
        return _message(self.id, self.values, self.many, self.number, "lower")


def _message(
    id: str, values: Mapping[str, Value], many: str = "", number: int = 0, first: str = ""
) -> Message:
    text = many if many and number != 1 else str(id)
    if values:
        text = _filled(text, values, str)
    made = str.__new__(Message, _cased(text, first))
    for name, value in (
        ("id", str(id)),
        ("values", MappingProxyType(values) if values else _NO_VALUES),
        ("many", many),
        ("number", number),
        ("first", first),
    ):
        object.__setattr__(made, name, value)
    return made


class Verbatim(str):
    """A text whose figures keep their points in every language: the name of a file, a line to be typed."""

    __slots__ = ()


#: Where there is nothing to say.
NOTHING = _message("", {})


def nothing() -> Message:
    """`NOTHING`, for a field of a data file that may be left out."""
    return NOTHING


def counted(one: str, many: str, number: int, /, **values: Value) -> Message:
    """
    A message of so many things: an id for one, an id for any other number; ``{n}`` is the number.

    Examples
    --------
    >>> counted("{n} minute", "{n} minutes", 1), counted("{n} minute", "{n} minutes", 5)
    ('1 minute', '5 minutes')
    """
    return _message(one, {"n": number, **values}, many, number)


def listed(members: Iterable[Value], join: str = "") -> Message:
    """
    Members as one message, joined as the language joins them; `join` as the format of a place.

    Examples
    --------
    >>> listed(["a", "b", "c"], "and")
    'a, b and c'
    """
    return _message(f"{{list:{join}}}" if join else "{list}", {"list": tuple(members)})


class Translator:
    """
    Says messages in one language.

    Parameters
    ----------
    code : str
        Of the language, such as ``es``.
    catalogue : gettext.NullTranslations, optional
        Its texts; without one the ids themselves.
    """

    def __init__(self, code: str, catalogue: gettext.NullTranslations | None = None) -> None:
        self.code = code
        self._catalogue = catalogue
        half = self._looked_up(_A_HALF)
        #: The decimal mark.
        self.mark = "," if "," in half else "."
        #: The language's name, in itself.
        self.name = self._looked_up(_OWN_NAME)

    def _looked_up(self, id: str, many: str = "", number: int = 0) -> str:
        if self._catalogue is None:
            return many if many and number != 1 else id
        if many:
            return self._catalogue.ngettext(id, many, number)
        return self._catalogue.gettext(id) if id else ""

    def text(self, message: str) -> str:
        """
        A message in this language, its numbers with the language's decimal mark.

        A string that is no message is data, and stays as it is.
        """
        return self.figures(self._text(message)).replace(_POINT, ".")

    def _text(self, message: str) -> str:
        if isinstance(message, Verbatim) and self.mark != ".":
            return message.replace(".", _POINT)
        if not isinstance(message, Message):
            return message
        template = self._looked_up(message.id, message.many, message.number)
        if message.values:
            template = _filled(template, message.values, self._text)
        return _cased(template, message.first)

    def page(self, id: str, /, **values: Value) -> str:
        """A text of a page by its id, its places filled with what is said already."""
        return self.figures(_filled(self._looked_up(id), values, str) if values else self._looked_up(id))

    def figures(self, text: str) -> str:
        """A text with the decimal mark of this language in its numbers."""
        return text if self.mark == "." else _DECIMAL.sub(rf"\1{self.mark}\2", text)


def as_data(value: Value) -> object:
    """
    A message as JSON tells it: id, values and English text; numbers and plain strings as they are.

    Examples
    --------
    >>> as_data(Message("speaks for {fault}", fault=Message("open")))["values"]
    {'fault': {'id': 'open', 'text': 'open'}}
    """
    if isinstance(value, tuple):
        return [as_data(member) for member in value]
    if not isinstance(value, Message):
        return value
    table: dict[str, object] = {"id": value.id}
    if value.values:
        table["values"] = {name: as_data(member) for name, member in value.values.items()}
    if value.many:
        table["many"], table["number"] = value.many, value.number
    if value.first:
        table["first"] = value.first
    return {**table, "text": str(value)}


def from_data(data: object) -> Message:
    """
    A message from what `as_data` made of it; a text alone is an id. What is neither says nothing.

    Examples
    --------
    >>> from_data(as_data(listed([Message("open"), "OL"], "or")))
    'open or OL'
    """
    if isinstance(data, str):
        return Message.of(data)
    if not isinstance(data, Mapping) or not isinstance(data.get("id"), str):
        return NOTHING
    values, many = data.get("values", {}), str(data.get("many", ""))
    made = {str(name): _from_data(value) for name, value in values.items()} if values else {}
    number, first = data.get("number", 0), str(data.get("first", ""))
    return _message(data["id"], made, many, number if isinstance(number, int) else 0, first)


def _from_data(value: object) -> Value:
    if isinstance(value, Mapping):
        return from_data(value)
    if isinstance(value, list | tuple):
        return tuple(map(_from_data, value))
    return value if isinstance(value, str | int | float) else ""


def _folders() -> tuple[Path, ...]:
    more = os.environ.get(MORE_LOCALES, "")
    return (*((Path(more),) if more else ()), LOCALES)


def catalogue_file(code: str) -> Path | None:
    """The compiled catalogue of a language; None where there is none."""
    if not re.fullmatch(r"[A-Za-z]{2,3}([-_][A-Za-z0-9]{2,8})*", code):
        return None
    files = (folder / code / "LC_MESSAGES" / "humclick.mo" for folder in _folders())
    return next((file for file in files if file.is_file()), None)


def languages() -> tuple[str, ...]:
    """Codes of the languages there are, English first: one for each catalogue."""
    codes = {file.parts[-3] for folder in _folders() for file in folder.glob("*/LC_MESSAGES/humclick.mo")}
    return (ENGLISH, *sorted(codes - {ENGLISH}))


@cache
def translator(code: str = ENGLISH) -> Translator:
    """The translator of a language; English for any that has no catalogue."""
    file = catalogue_file(code)
    if file is None:
        return Translator(ENGLISH)
    import gettext  # here: English needs none

    with file.open("rb") as content:
        return Translator(code, gettext.GNUTranslations(content))
