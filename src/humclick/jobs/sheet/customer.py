"""
The customer's page: what was wrong, what was done, what was tested, what to mind and what it costs.

In plain words from the data files; no probabilities, no names of probes.
"""

from __future__ import annotations

from typing import Any

from humclick.diagnosis.shop import Shop, default_shop
from humclick.errors import Unknown
from humclick.jobs.call import Call
from humclick.jobs.sheet.model import CostLine, CustomerPage, Judgement, State, Tested
from humclick.replacement.demand import replaced_parts
from humclick.safety import flammable
from humclick.sourced import read_data, sourced

__all__ = ["customer_page", "remedy_title"]


def _words() -> dict[str, Any]:
    return read_data("humclick.jobs.sheet", "words.toml")


def remedy_title(remedy: str, shop: Shop) -> str:
    """A remedy in words, its own name where the shop has none."""
    try:
        title = shop.remedy(remedy).title
    except Unknown:
        title = remedy
    return title[:1].upper() + title[1:]


def customer_page(
    call: Call, judgement: Judgement | None, state: State, shop: Shop | None = None, money: str = ""
) -> CustomerPage:
    """
    The page in plain words.

    Parameters
    ----------
    call : Call
        The call.
    judgement : Judgement or None
        What judgement says of it.
    state : State
        How far it has come.
    shop : Shop, optional
        The shop's own prices; without it none are shown, for the program's are guesses.
    money : str
        Name or sign of the money the prices are in.
    """
    words = _words()
    titles = tuple(remedy_title(r, shop or default_shop()) for r in state.remedies)
    finished = state.name in ("repaired", "fitted")
    known = state.name in ("needed", "passing", "repaired", "fitted")
    probability = judgement.explanation.probability if judgement else 0.0
    costs = _costs(state, shop, money) if state.name in ("needed", "passing") else ()
    note = ""
    if costs:
        note = "Parts and work from our price list, before tax. Travel and testing are not in these figures."
    elif state.name == "needed":
        note = "The price was not known when this was printed. Please ask before the work starts."
    told = words["complaint"].get(str(call.complaint), "") if call.complaint else ""
    return CustomerPage(
        headline=words["headline"][state.name],
        told=call.words.strip() or told,
        explained=_explained(call, judgement, state),
        sure=_sure(probability) if known and judgement and state.name != "repaired" else "",
        wrong=_wrong(judgement, state) if known else (),
        does=_does(call, state) if known else (),
        done=titles if finished else (),
        needed=titles if state.name in ("needed", "passing", "handed") else (),
        tested=_tested(call, judgement),
        safety=_safety(call, state),
        costs=costs,
        cost_note=note,
    )


def _explained(call: Call, judgement: Judgement | None, state: State) -> str:
    words = _words()["explained"]
    if state.name == "recognised" and call.machine is not None:
        return str(words["three_phase" if call.machine.arrangement.id == "three-phase" else "recognised"])
    if state.name in ("needed", "fitted") and judgement and judgement.explanation.by_elimination:
        return str(words["elimination"])
    return str(words.get(state.name, ""))


def _sure(probability: float) -> str:
    words = _words()
    for name in ("certain", "likely", "most"):
        if probability >= sourced(words["sure_from"][name], f"words.toml, sure_from.{name}").value:
            return f"{words['sure'][name]}."
    return f"{words['sure']['best']}."


def _wrong(judgement: Judgement | None, state: State) -> tuple[str, ...]:
    """The likeliest condition that the remedies put right, in plain words."""
    if judgement is None:
        return ()
    wanted = frozenset(state.remedies)
    for suspect in judgement.advice.suspects:
        remedies = {judgement.remedy_of(part, mode) for part, mode in suspect.parts}
        if remedies == wanted or (not remedies and wanted <= {"wait"}):
            return (suspect.plain,)
    return ()


def _does(call: Call, state: State) -> tuple[str, ...]:
    if call.machine is None:
        return ()
    does = _words()["does"]
    parts = [part for r in state.remedies for part in replaced_parts(call.machine, r)[:1]]
    return tuple(dict.fromkeys(does[part] for part in parts if part in does))


def _tested(call: Call, judgement: Judgement | None) -> tuple[Tested, ...]:
    """What was tested, each thing once; the last reading at each point counts."""
    words = _words()
    tested, result = words["tested"], words["result"]
    last = {r.probe: r for r in call.readings if r.reading is not None or r.answer}
    found: dict[str, tuple[str, bool]] = {}
    for probe, kept in last.items():
        begins = [name for name in tested if probe.startswith(name)]
        what = tested[max(begins, key=len)] if begins else ""
        if not what:
            continue
        if probe.startswith(("attempt.", "fit.")):
            good = kept.answer == "runs"
            said = result["ran" if good else "not_ran"]
        else:
            finding = judgement.findings.get(kept.event) if judgement else None
            good = finding is None or not finding.warns
            said = result["good" if good else "warns"]
        if what not in found or found[what][1]:
            found[what] = (said, good)
    return tuple(Tested(what, said, good) for what, (said, good) in found.items())


def _safety(call: Call, state: State) -> tuple[str, ...]:
    words = _words()["safety"]
    finished = state.name in ("repaired", "fitted", "passing")
    plug = "plug_done" if finished else "plug_handed" if state.name == "handed" else "plug_open"
    said = [words[plug], words["cover"]]
    if call.machine is not None:
        printed = call.machine.nameplate.refrigerant
        if flammable(printed):
            said.append(words["flammable"])
        elif not printed.strip():
            said.append(words["unread"])
    said += [words[r] for r in state.remedies if r in words]
    return tuple(said)


def _costs(state: State, shop: Shop | None, money: str) -> tuple[CostLine, ...]:
    if shop is None or shop is default_shop():
        return ()
    found = [shop.remedies[r] for r in state.remedies if r in shop.remedies]
    if len(found) != len(state.remedies):
        return ()

    def amount(value: float) -> str:
        return f"{value:,.2f} {money}".strip()

    lines = [
        CostLine(
            remedy_title(each.name, shop),
            amount(each.price),
            amount(shop.money(each.minutes)),
            amount(each.price + shop.money(each.minutes)),
        )
        for each in found
    ]
    if len(lines) > 1:
        price, work = sum(r.price for r in found), sum(shop.money(r.minutes) for r in found)
        lines.append(CostLine("Together", amount(price), amount(work), amount(price + work)))
    return tuple(lines)
