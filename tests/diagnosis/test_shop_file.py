"""A shop's own file: any text is read or refused in a sentence, and no figure breaks the advice."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from humclick.cli.given import shop_in
from humclick.diagnosis.shop import Shop, default_shop, shop_from_file, shop_from_table
from humclick.errors import HumclickError, Refused, Unknown, printable
from humclick.jobs.call_file import read_call
from humclick.jobs.fold import fold
from humclick.jobs.result import result_of
from humclick.limits import SHOP_BYTES
from humclick.sourced import read_data
from tests.jobs.test_call_text import lines_run

ROOT = Path(__file__).resolve().parents[2]
DEFAULT = read_data("humclick.diagnosis", "shop.toml")
SECTIONS = [name for name, value in DEFAULT.items() if isinstance(value, dict)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[rate]\nminute = 1", "did you mean rates"),
        ("[rates]\nminutes = 1", "did you mean minute"),
        ('[remedy."replace starter"]\nprise = 3', "did you mean price"),
        ('[remedy."replace starter"]\nminute = 3', "did you mean minutes"),
        ('[remedy."replace startr"]\nprice = 3', "did you mean replace starter"),
        ('[remedy]\n"replace starter" = 3', "remedy.replace starter: a table is needed"),
        ("rates = 3", "rates: a table is needed"),
        ("[probe.pins]\nminuts = 3", "did you mean minutes"),
        ("[probe]\npins = 3", "probe.pins: a table is needed"),
        ('[remedy.wait]\ntitle = "let it \\u001b[2J cool"', r"title: words of 1 to 200 letters.*\\x1b"),
        ('[remedy.wait]\ntitle = "\\u202ereversed"', "title: words"),
        ('[remedy.wait]\ntitle = ""', "title: words"),
        ("[remedy.wait]\ntitle = 3", "title: words"),
        ('[remedy.wait]\nprice = "3"', "remedy.wait.price: a number from 0"),
        ("[remedy.wait]\nprice = -1", "got -1"),
        ("[remedy.wait]\nprice = nan", "got nan"),
        ("[remedy.wait]\nprice = true", "got True"),
        ("[rates]\nminute = " + "9" * 5000, "line 2: a number has too many digits"),
        ("[rates]\nminute = " + "9" * 350, "more than twenty digits"),
        ("x = " + "[" * 9000, "nested too deeply"),
        ("a" + ".a" * 30_000, "too many parts"),
        ("[odds]\n" + "a." * 5 + "b = 1", "too many parts"),
        ('[odds]\n"ptx.open" = 1', "did you mean ptc"),
        ('[odds]\n"ptc.opn" = 1', "did you mean open"),
        ('[joint]\n"ptc.open" = 1', "unknown"),
        ("[slips]\npins_mixed = 0.9", "from 0 to 0.2"),
        ("[slips]\ndirty_contact_ohms = 0", "from 0.001"),
        ("[rates", "not TOML"),
        (b"\xff\xfe", "not UTF-8"),
        ("#" * (SHOP_BYTES + 1), "larger than 256 kB"),
        (None, "No such file"),
    ],
)
def test_what_is_no_shop_file_is_refused_with_what_would_be_right(
    tmp_path: Path, text: str | bytes | None, says: str
) -> None:
    """Wrong names get the nearest right one, wrong figures the bounds; nothing is passed over."""
    path = tmp_path / "shop.toml"
    if text is not None:
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(HumclickError, match=says) as caught:
        shop_in(path)
    assert isinstance(caught.value, Refused | Unknown)
    assert len(str(caught.value)) < 900
    assert str(caught.value).isprintable()


def test_half_a_row_keeps_the_rest_of_it() -> None:
    """A row that gives one figure keeps the program's others."""
    shop = shop_from_table({"probe": {"pins": {"minutes": 3}}, "remedy": {"wait": {"price": 5}}})
    assert shop.probe["pins"] == (3.0, default_shop().probe["pins"][1])
    assert shop.remedies["wait"].title == default_shop().remedies["wait"].title


_FIGURES = st.sampled_from([0, 1, 0.5, 1e-300, 5e-324, 1e8, 1e9, 0.2, -0.0])
_ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=4,
)


@settings(max_examples=200)
@given(
    st.dictionaries(
        st.sampled_from([*SECTIONS, "odds", "source"]) | st.text(max_size=8),
        _ANYTHING | st.dictionaries(st.sampled_from(sorted(DEFAULT["remedy"])), _ANYTHING, max_size=2),
        max_size=3,
    )
)
def test_any_table_is_a_shop_or_refused(table: dict[str, Any]) -> None:
    """Whatever stands in the file, it is taken or refused in a sentence of one line."""
    try:
        found: Shop | HumclickError = shop_from_table(table)
    except HumclickError as error:
        found = error
    assert isinstance(found, Shop | Refused | Unknown)
    assert printable(str(found), "") == str(found) or isinstance(found, Shop)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_no_figure_that_is_taken_breaks_the_advice(data: st.DataObject) -> None:
    """Extreme figures, one or a whole section of them, give advice or a refusal."""
    section = data.draw(st.sampled_from(["rates", "opening", "none", "joint", "slips", "odds"]))
    names = sorted(DEFAULT[section]) if section != "odds" else ["ptc.open", "supply.sags", "mechanism.seized"]
    chosen = data.draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
    figure = data.draw(_FIGURES)
    try:
        shop = shop_from_table({section: dict.fromkeys(chosen, figure)})
    except Refused:
        return
    call = fold(read_call(ROOT / "examples" / "broken-starter" / "call.toml"))
    assert result_of(call, shop).kind in ("probe", "wait", "verdict")


def test_a_machine_cannot_be_sound_and_looks_like_nothing_known() -> None:
    """Both at once left a share of nothing to divide by."""
    shop = shop_from_table({"none": {"as_healthy": 0, "no_fault": 0}})
    call = fold(read_call(ROOT / "examples" / "broken-starter" / "call.toml"))
    assert result_of(call, shop).kind in ("probe", "wait", "verdict")


def test_reading_a_hostile_file_costs_no_more_than_its_length(tmp_path: Path) -> None:
    """Four times the text takes four times the steps at most."""
    for grain in ("a.b.c.d.e=1\n", "[a.b]\n", '"\\', "x=[[1]]\n", "[[remedy]]\n", "{a={", "a=1\n"):
        counts = []
        for times in (100, 400):
            path = tmp_path / f"{times}.toml"
            path.write_text(grain * times)
            counts.append(lines_run(partial(shop_from_file, path)))
        assert counts[1] <= 4.4 * counts[0] + 3000, grain
