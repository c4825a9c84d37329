"""What is refused can be said in every language: no class of `HumclickError` is given plain words."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator
from pathlib import Path

import pytest

from humclick import errors
from humclick.errors import (
    CallFileError,
    DataError,
    HumclickError,
    OutOfRange,
    Refused,
    Unknown,
    because,
    choice_of,
)
from humclick.messages import Message, Translator, Verbatim

SOURCE = Path(errors.__file__).parent
#: Classes that are told in English, and why.
IN_ENGLISH = {
    "DataError": "only somebody who writes a data file of the program meets it",
    "BuildFailed": "only somebody who builds the offline pages meets it",
}
#: Parameters and functions that stand for a class of error.
STANDS_FOR_ONE = {"refuse", "FormRefused", "Unfit", "reading_refused"}


def calls() -> Iterator[tuple[str, str, ast.Call]]:
    """Every call in the program, with its file and the name that is called."""
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "id", "") or getattr(node.func, "attr", "")
                yield str(path.relative_to(SOURCE)), name, node


def classes() -> set[str]:
    """Names of `HumclickError` and of all that come from it, anywhere in the program."""
    bases: dict[str, set[str]] = {}
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef):
                bases[node.name] = {getattr(base, "id", "") for base in node.bases}
    known = {"HumclickError"}
    while more := {name for name, above in bases.items() if above & known} - known:
        known |= more
    return known


def plain(node: ast.expr) -> bool:
    """Whether words stand there that no catalogue has: a text, one with figures, or a sum of such."""
    if isinstance(node, ast.BinOp):
        return plain(node.left) or plain(node.right)
    if isinstance(node, ast.IfExp):
        return plain(node.body) or plain(node.orelse)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "format":
        return plain(node.func.value)
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def test_the_classes_are_those_of_the_program() -> None:
    """The sweep sees what Python sees, and what is excepted is there."""
    named = {
        name for name, kind in vars(errors).items() if inspect.isclass(kind) and issubclass(kind, Exception)
    }
    assert named <= classes()
    assert set(IN_ENGLISH) <= classes()


def test_no_refusal_is_given_plain_words() -> None:
    """Every class but those excepted takes a message; a value that is quoted in it is data."""
    sought = (classes() | STANDS_FOR_ONE) - set(IN_ENGLISH)
    wrong = []
    for file, name, node in calls():
        texts = node.args[1:2] if name in ("FormRefused", "Unfit", "reading_refused") else node.args[:1]
        wrong += [f"{file}:{node.lineno} {name}" for text in texts if name in sought and plain(text)]
    assert wrong == []


def test_no_message_is_made_of_a_text_with_figures() -> None:
    """An id with figures in it is in no catalogue; what is chosen among ids stands there by its name."""
    made = (
        (file, node) for file, name, node in calls() if name in ("Message", "counted", "N_") and node.args
    )
    wrong = [
        f"{file}:{node.lineno}" for file, node in made if isinstance(node.args[0], ast.JoinedStr | ast.BinOp)
    ]
    assert [place for place in wrong if not place.startswith("messages.py")] == []


def in_capitals(message: Message) -> str:
    """A message in a language that writes its texts in capitals."""

    class Capitals(Translator):
        def _looked_up(self, id: str, many: str = "", number: int = 0) -> str:
            pieces = (many if many and number != 1 else id).split("{")
            head, *places = pieces
            return head.upper() + "".join(
                "{" + place.partition("}")[0] + "}" + place.partition("}")[2].upper() for place in places
            )

    return Capitals("xx").text(message)


@pytest.mark.parametrize(
    ("error", "english", "said"),
    [
        (
            Unknown(Message("gate"), "powr off", ["power off"]),
            "unknown gate 'powr off'; did you mean power off?",
            "UNKNOWN GATE 'powr off'; DID YOU MEAN power off?",
        ),
        (
            CallFileError(
                Message("not TOML: {reason}", reason=Message("Unclosed array")), line=3, path="a.toml"
            ),
            "a.toml, line 3: not TOML: Unclosed array",
            "a.toml, LINE 3: NOT TOML: UNCLOSED ARRAY",
        ),
        (
            OutOfRange(Message("kind must be {allowed}", allowed=choice_of("b", ["a"]))),
            "kind must be one of a; got 'b'",
            "KIND MUST BE ONE OF a; GOT 'b'",
        ),
        (
            Refused(
                Message(
                    "{path}: {why}", path=Verbatim("a.b"), why=because(FileNotFoundError(2, "No such file"))
                )
            ),
            "a.b: No such file",
            "a.b: NO SUCH FILE",
        ),
    ],
)
def test_a_refusal_is_said_whole(error: HumclickError, english: str, said: str) -> None:
    """The English words as they were; in another language all but what was given."""
    assert str(error) == english
    assert in_capitals(error.message) == said


def test_a_damaged_data_file_is_told_in_english() -> None:
    """Its text is one id."""
    assert DataError("gates.toml: odd").message.id == "gates.toml: odd"
