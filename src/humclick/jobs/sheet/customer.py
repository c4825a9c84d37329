"""
The customer's page: what was wrong, what was done, what was tested, what to mind and what it costs.

In plain words from the data files; no probabilities, no names of probes.
"""

from __future__ import annotations

from typing import Any

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advised import Suspect
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.power import Earth, earth
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Heard
from humclick.jobs.call import Call
from humclick.jobs.history import State, did, titles
from humclick.jobs.sheet.model import Account, CostLine, CustomerPage, Judgement, Tested
from humclick.messages import NOTHING, Message, listed
from humclick.parts.family import families, family
from humclick.replacement.demand import replaced_parts
from humclick.safety import flammable
from humclick.sourced import read_data, sourced

__all__ = ["customer_page", "remedy_title"]


def _words() -> dict[str, Any]:
    return read_data("humclick.jobs.sheet", "words.toml")


def remedy_title(remedy: str, shop: Shop) -> Message:
    """A remedy to be done in words, its own name where the shop has none."""
    return titles((remedy,), shop).capital()


def customer_page(call: Call, account: Account, shop: Shop | None = None, money: str = "") -> CustomerPage:
    """The page in plain words; prices only from a shop of its own, for the program's are guesses."""
    words, state = _words(), account.state
    known = shop or default_shop()
    settled = state.name in ("needed", "passing", "repaired", "fitted")
    probability = account.behind.explanation.probability if account.behind else 0.0
    costs = _costs(state, shop, money) if state.name in ("needed", "passing") else ()
    note = NOTHING
    if costs:
        note = Message(
            "Parts and work from our price list, before tax. Travel and testing are not in these figures."
        )
    elif state.name == "needed":
        note = Message("The price was not known when this was printed. Please ask before the work starts.")
    heard = Message.of(words["complaint"].get(str(call.complaint), "") if call.complaint else "")
    return CustomerPage(
        headline=Message.of(words["headline"]["failed" if state.failed else state.name]),
        told=call.words.strip() or heard,
        explained=_explained(call, account),
        sure=_sure(probability) if settled and account.behind and state.name != "repaired" else NOTHING,
        wrong=_wrong(account) if settled else (),
        does=_does(call, state) if settled else (),
        done=tuple(did((r,), known).capital() for r in state.done),
        needed=tuple(remedy_title(r, known) for r in state.due),
        tested=_tested(call, account.now),
        safety=_safety(call, account),
        costs=costs,
        cost_note=note,
    )


def _explained(call: Call, account: Account) -> Message:
    words, state = _words()["explained"], account.state
    if call.stopped:
        return listed(dict.fromkeys(stoppage.stop.customer for stoppage in call.stopped), "space")
    if state.name == "recognised" and call.machine is not None:
        return Message.of(words["recognised"])
    if state.failed:
        return Message.of(words["failed"])
    why = account.behind.explanation if account.behind else None
    if state.name in ("needed", "fitted") and why and why.by_elimination and not why.untested:
        return Message.of(words["elimination"])
    return Message.of(words.get(state.name, ""))


def _sure(probability: float) -> Message:
    words = _words()
    for name in ("certain", "likely", "most"):
        if probability >= sourced(words["sure_from"][name], f"words.toml, sure_from.{name}").value:
            return Message("{sentence}.", sentence=Message.of(words["sure"][name]))
    return Message("{sentence}.", sentence=Message.of(words["sure"]["best"]))


def _wrong(account: Account) -> tuple[Message, ...]:
    """The likeliest condition that the remedies put right, in plain words."""
    behind = account.behind
    if behind is None:
        return ()
    wanted = frozenset(account.state.remedies)
    for suspect in behind.advice.suspects:
        remedies = _remedies(behind.machine, suspect)
        if remedies == wanted or (not remedies and wanted <= {"wait"}):
            return (suspect.plain,)
    return ()


def _remedies(machine: Machine, suspect: Suspect) -> set[str]:
    """What a suspect needs; nothing is known of parts that this machine does not have."""
    have = {part.id for part in machine.parts}
    return {machine.part(part).remedy(mode) for part, mode in suspect.parts if part in have}


def _does(call: Call, state: State) -> tuple[Message, ...]:
    if call.machine is None:
        return ()
    does = {part: Message.of(text) for part, text in _words()["does"].items()}
    does |= {part.id: part.family.does for part in call.machine.parts}
    parts = [part for r in state.remedies for part in replaced_parts(call.machine, r)[:1]]
    return tuple(dict.fromkeys(does[part] for part in parts if does.get(part)))


def _tested_of(call: Call, probe: str) -> Message:
    """What a probe of a part tests, in the words of its family; empty where it has none."""
    part = probe.partition(".")[0]
    placed = [item.family for item in call.machine.parts if item.id == part] if call.machine else []
    kind = placed[0] if placed else family(part) if part in families() else None
    return kind.tested if kind else NOTHING


def _tested(call: Call, judgement: Judgement | None) -> tuple[Tested, ...]:
    """What was tested, each thing once; the last reading at each point counts."""
    words = _words()
    tested, result = words["tested"], words["result"]
    last = {r.probe: r for r in call.readings if r.reading is not None or r.answer}
    results: dict[str, tuple[str, bool]] = {}
    for probe, reading in last.items():
        begins = [name for name in tested if probe.startswith(name)]
        what = tested[max(begins, key=len)] if begins else _tested_of(call, probe)
        if not what:
            continue
        if probe.startswith(("attempt.", "fit.")):
            good = reading.answer == "runs"
            outcome = result["ran" if good else "not_ran"]
        else:
            finding = judgement.findings.get(reading.event) if judgement else None
            if finding is not None and finding.says in (Says.UNCLEAR, Says.UNKNOWN):
                continue
            good = finding is None or finding.says is Says.GOOD
            outcome = result["good" if good else "warns"]
        if what not in results or results[what][1]:
            results[what] = (outcome, good)
    return tuple(
        Tested(Message.of(what), Message.of(outcome), good) for what, (outcome, good) in results.items()
    )


def _safety(call: Call, account: Account) -> tuple[Message, ...]:
    words, state = _words()["safety"], account.state
    finished = not state.failed and state.name in ("repaired", "fitted", "passing")
    plug = "plug_done" if finished else "plug_handed" if state.name == "handed" else "plug_open"
    lines = [words[f"{plug}_breaker" if _leaves_breaker(call, account) else plug], words["cover"]]
    if call.stopped:
        lines = [words["stopped"]]
    situation = call.situation()
    if situation is not None and earth(situation) is Earth.NONE:
        lines.append(words["no_ground"])
    if call.machine is not None:
        printed = call.machine.nameplate.refrigerant
        if flammable(printed):
            lines.append(words["flammable"])
        elif not printed.strip():
            lines.append(words["unread"])
    lines += [words[r] for r in dict.fromkeys((*state.remedies, *state.due)) if r in words]
    return tuple(map(Message.of, lines))


def _leaves_breaker(call: Call, account: Account) -> bool:
    """Whether the breaker is to stay off: it tripped on this call, or the motor has a way to its case."""
    tripped = call.complaint is Heard.BREAKER or any(r.answer == Heard.BREAKER for r in call.readings)
    findings = account.now.findings if account.now is not None else {}
    leaks = [
        r.event in findings and findings[r.event].warns for r in call.readings if r.probe == "pins.shell"
    ]
    return tripped or bool(leaks and leaks[-1])


def _costs(state: State, shop: Shop | None, money: str) -> tuple[CostLine, ...]:
    if shop is None or shop is default_shop():
        return ()
    remedies = [shop.remedies[r] for r in state.due if r in shop.remedies]
    if len(remedies) != len(state.due):
        return ()

    def amount(value: float) -> str:
        return f"{value:,.2f} {money}".strip()

    lines = [
        CostLine(
            remedy_title(remedy.name, shop),
            amount(remedy.price),
            amount(shop.money(remedy.minutes)),
            amount(remedy.price + shop.money(remedy.minutes)),
        )
        for remedy in remedies
    ]
    if len(lines) > 1:
        price, work = sum(r.price for r in remedies), sum(shop.money(r.minutes) for r in remedies)
        lines.append(CostLine(Message("Together"), amount(price), amount(work), amount(price + work)))
    return tuple(lines)
