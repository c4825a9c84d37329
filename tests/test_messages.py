"""Messages: an id and its values, one text a language."""

import copy
import gettext
import pickle
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.messages import Message, Translator, as_data, counted, languages, listed, translator

#: Names of catalogue entries in a made-up language.
TABLE = {
    "{value}: speaks for {faults:or}.": "{faults:or} <- {value}",
    "open": "abierto",
    ", ": "; ",
    " or ": " o ",
    "0.5": "0,5",
    "English": "Inventado",
}


class _Table(gettext.NullTranslations):
    def gettext(self, message: str) -> str:
        return TABLE.get(message, message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"<{msgid1}>" if n == 1 else f"<{msgid2}>"


INVENTED = Translator("xx", _Table())


def sentence(faults: Sequence[str]) -> Message:
    return Message("{value}: speaks for {faults:or}.", value="1.5 Ω", faults=tuple(faults))


def test_a_message_is_its_english_text() -> None:
    made = sentence([Message("open"), Message("burnt"), "OL"])
    assert made == "1.5 Ω: speaks for open, burnt or OL."
    assert type(str(made)) is str
    assert made.id == "{value}: speaks for {faults:or}."


def test_another_language_orders_the_places_and_joins_the_list_its_own_way() -> None:
    made = sentence([Message("open"), Message("burnt"), "OL"])
    assert INVENTED.text(made) == "abierto; burnt o OL <- 1,5 Ω"


def test_plain_strings_are_data_and_are_not_looked_up() -> None:
    assert INVENTED.text("open") == "open"
    assert INVENTED.text(Message("open")) == "abierto"


def test_first_letters_are_changed_after_translation() -> None:
    assert INVENTED.text(Message("open").capital()) == "Abierto"
    assert Message("Open it").small() == "open it"


def test_counting_asks_for_the_form_of_the_number() -> None:
    assert counted("{n} entry", "{n} entries", 2) == "2 entries"
    assert INVENTED.text(counted("{n} entry", "{n} entries", 1)) == "<1 entry>"


def test_a_message_cannot_be_changed_and_can_be_copied_and_sent() -> None:
    made = sentence([Message("open")]).capital()
    with pytest.raises(AttributeError):
        made.id = "other"
    for other in (pickle.loads(pickle.dumps(made)), copy.deepcopy(made)):
        assert (other, other.id, dict(other.values)) == (made, made.id, dict(made.values))


def test_braces_in_a_value_or_in_an_id_without_values_are_text() -> None:
    assert Message("{value} V", value="{shell}") == "{shell} V"
    assert Message("{shell}") == "{shell}"


def test_english_needs_no_catalogue_and_others_are_found_by_theirs() -> None:
    assert languages()[0] == "en"
    assert "es" in languages()
    assert translator("../es").code == translator("xx").code == "en"
    assert translator("es").mark == ","


@given(st.lists(st.text(min_size=1, max_size=5), min_size=1, max_size=6), st.sampled_from(["", "and", "or"]))
def test_every_member_of_a_list_is_said_once_in_order(members: list[str], join: str) -> None:
    text, at = str(listed(members, join)), 0
    for member in members:
        at = text.index(member, at) + len(member)


def test_data_of_a_message_hold_id_values_and_text() -> None:
    assert as_data("OL") == "OL"
    assert as_data(sentence([Message("open")])) == {
        "id": "{value}: speaks for {faults:or}.",
        "values": {"value": "1.5 Ω", "faults": [{"id": "open", "text": "open"}]},
        "text": "1.5 Ω: speaks for open.",
    }
