"""The three pages at every point of every example: each line what judgement, history and the parts say."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from functools import cache

import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.shop import default_shop, shop_from_table
from humclick.jobs.call import Call
from humclick.jobs.history import did, state_of, titles
from humclick.jobs.judgements import Weighed
from humclick.jobs.sheet.counter import counter_page
from humclick.jobs.sheet.customer import customer_page, remedy_title
from humclick.jobs.sheet.machine import machine_rows
from humclick.jobs.sheet.model import Account, judgement_of
from humclick.jobs.sheet.render import sheet_of
from humclick.jobs.sheet.technician import clock, technician_page
from humclick.replacement.demand import demands, replaced_parts
from humclick.safety.refrigerant import flammable, safety_class
from tests.jobs.sheet.test_sheet import CSIR, FITTED, HEAD, HUMS, LOW, STAMP, gate, reading
from tests.jobs.sheet.test_sheet import call as written
from tests.jobs.test_result import call as example
from tests.jobs.test_result import points
from tests.sample import sampled

SHOP = default_shop()
everywhere = pytest.mark.parametrize(("name", "count"), sampled(points(), points()[::3]))


def weighed(job: Call) -> Weighed | None:
    """What judgement says of a call."""
    situation = job.situation()
    return None if situation is None else Weighed(situation, SHOP)


def told_of(job: Call) -> Account:
    """What a sheet speaks of, put together as the sheet does."""
    now = judgement_of(weighed(job))
    state = state_of(job, now.advice if now is not None else None)
    before = judgement_of(weighed(state.turn.before), state.turn.about) if state.turn is not None else now
    return Account(now, before, state)


@cache
def at(name: str, count: int) -> tuple[Call, Account]:
    """An example with so many of its events, and what is told of it."""
    return example(name, count), told_of(example(name, count))


def signed(decibans: float) -> str:
    return "0.0" if abs(decibans) < 0.05 else f"{decibans:+.1f}".replace("-", "−")


# -- the technician's page ----------------------------------------------------------------------------------


@everywhere
def test_the_record_holds_every_entry_in_order_with_its_weight(name: str, count: int) -> None:
    """Numbered from 1; a reading with the weight and finding judgement gives it, and its time of day."""
    job, told = at(name, count)
    page = technician_page(job, told)
    assert [entry.number for entry in page.record] == list(range(1, len(page.record) + 1))
    reasons = {r.id: r for r in told.behind.explanation.reasons} if told.behind else {}
    readings = sorted(job.readings, key=lambda r: job.order[r.event])
    shown = [entry for entry in page.record if entry.kind == "reading"]
    assert len(shown) == len(readings)
    for entry, kept in zip(shown, readings, strict=True):
        assert (entry.probe, entry.at) == (kept.probe, clock(kept.at))
        reason = reasons.get(kept.event)
        assert entry.weight == (signed(reason.decibans) if reason else "")
        assert bool(entry.moved) == bool(reason and reason.moved)
        finding = told.now.findings.get(kept.event) if told.now else None
        assert (entry.finding, entry.warns) == ((finding.text, finding.warns) if finding else ("", False))
        gates = len(entry.passed) + len(entry.unproved)
        assert gates >= len(kept.unproved)
    assert sum(entry.kind == "gate" for entry in page.record) == len(job.gates)


@everywhere
def test_reasons_that_say_something_stand_on_the_page_and_the_others_are_counted(
    name: str, count: int
) -> None:
    """From one deciban on, or where a remedy moved; the figures are those of the verdict explained."""
    job, told = at(name, count)
    page = technician_page(job, told)
    behind = told.behind
    if behind is None or job.stopped:
        assert page.reasons == ()
        return
    loud = [r for r in behind.explanation.reasons if abs(r.decibans) >= 1.0 or r.moved]
    quiet = len(behind.explanation.reasons) - len(loud)
    assert [row.value for row in page.reasons] == [signed(r.decibans) for r in loud]
    assert [row.name for row in page.reasons] == [r.shown for r in loud]
    assert page.reasons_note.startswith(f"{quiet} more say") == (quiet > 0)
    assert page.explanation == behind.explanation.sentence
    assert page.elimination == behind.explanation.by_elimination
    turn = told.state.turn
    then = turn is not None and not told.state.failed
    title = "Reasons"
    if then and turn is not None:
        title = "Reasons before the repair" if turn.done else "Reasons when it was decided"
    assert page.reasons_title == title
    about = (
        turn.about if then and turn else [r for r in behind.explanation.leader if r not in told.state.done]
    )
    assert [remedy_title(r, SHOP) in page.figures[0].remark for r in about] == [True] * len(about)
    assert about or page.figures[0].remark == "nothing else"
    verdict = behind.advice.verdict
    if verdict is None or (then and set(verdict.due) != set(about)):
        assert len(page.figures) == 1
        return
    assert page.figures[1].value == f"{verdict.expected_loss:.1f}"
    margin = f"{verdict.margin:.1f}".replace("-", "−") if math.isfinite(verdict.margin) else "no test left"
    assert page.figures[2].value == margin
    assert page.figures[3].value == (
        f"× {verdict.flip_factor:.3g}" if math.isfinite(verdict.flip_factor) else "none"
    )


@everywhere
def test_what_was_suspected_before_and_what_is_left_stand_apart(name: str, count: int) -> None:
    """One list while nothing was decided or done; two afterwards, each with its own moment."""
    job, told = at(name, count)
    page = technician_page(job, told)
    if told.now is None:
        assert page.standings == ()
        return
    assert len(page.standings) == (2 if told.two and told.before is not None else 1)
    assert set(page.shares) == {part for part, share in told.now.shares.items() if share >= 0.02}
    assert len({standing.title for standing in page.standings}) == len(page.standings)
    if told.state.name == "needed" and told.state.decided:
        assert page.next[0].value.startswith("Do it")
    if told.state.name == "repaired":
        assert all(row.name != "First wait" for row in page.next)


def test_who_decided_and_whether_judgement_agreed_is_said() -> None:
    """The same, another, or nothing settled yet."""
    same = {"kind": "decision", "remedies": ["replace start capacitor"]}
    other = {"kind": "decision", "remedies": ["replace compressor"]}
    said = {}
    for key, job in {
        "same": written(*LOW, same),
        "other": written(*LOW, other),
        "early": written(HEAD, CSIR, HUMS, other),
        "none": written(*LOW),
    }.items():
        said[key] = technician_page(job, told_of(job)).verdict_note
    assert said["none"] == ""
    assert "the same" in said["same"]
    assert "differ" in said["other"]
    assert "had not settled" in said["early"]
    assert all("Decided by the technician" in said[key] for key in ("same", "other", "early"))


def test_entries_taken_back_are_counted() -> None:
    """An undo is no entry of its own."""
    back = [{"kind": "undo", "of": f"e{n:02d}"} for n in (6, 7)]
    assert technician_page(written(*LOW), told_of(written(*LOW))).taken_back == ""
    one, two = written(*LOW, back[0]), written(*LOW, *back)
    assert technician_page(one, told_of(one)).taken_back.startswith("1 entry was")
    assert technician_page(two, told_of(two)).taken_back.startswith("2 entries were")


# -- the customer's page ------------------------------------------------------------------------------------


@everywhere
def test_the_customer_reads_what_was_done_and_what_is_needed(name: str, count: int) -> None:
    """In the shop's words; how sure only where something is settled; each test once, the last counts."""
    job, told = at(name, count)
    page = customer_page(job, told)
    state = told.state
    settled = state.name in ("needed", "passing", "repaired", "fitted")
    assert list(page.needed) == [remedy_title(r, SHOP) for r in state.due]
    assert [str(d) for d in page.done] == [did((r,), SHOP).capital() for r in state.done]
    assert bool(page.sure) == (settled and told.behind is not None and state.name != "repaired")
    assert page.costs == ()
    assert bool(page.cost_note) == (state.name == "needed")
    assert len({test.what for test in page.tested}) == len(page.tested)
    if not settled:
        assert page.wrong == page.does == ()
    elif told.behind is not None:
        wanted = frozenset(state.remedies)
        plain = [
            s.plain
            for s in told.behind.advice.suspects
            if {told.behind.machine.part(p).remedy(m) for p, m in s.parts} == wanted
            or (not s.parts and wanted <= {"wait"})
        ]
        assert list(page.wrong) == plain[:1]
    printed = job.machine.nameplate.refrigerant if job.machine else ""
    assert any("burn" in s or "flammable" in s for s in page.safety) == (
        job.machine is not None and flammable(printed) and (bool(printed.strip()))
    )
    assert page.headline
    why = told.behind.explanation if told.behind else None
    eliminated = bool(why and why.by_elimination and not why.untested)
    alone = state.name in ("needed", "fitted") and eliminated and not (state.failed or job.stopped)
    assert ("cannot be measured by itself" in page.explained) == alone


def test_a_test_that_was_good_and_one_that_was_not_are_told_apart() -> None:
    """A start that ran is good, one that did not is not; a reading by its finding."""
    ran, not_ran = reading("attempt.as_found", "runs"), reading("attempt.as_found", "hum_click")
    for start, good in ((ran, True), (not_ran, False)):
        job = written(*LOW, FITTED, gate("cover-on"), start)
        page = customer_page(job, told_of(job))
        last = {test.what: test for test in page.tested}
        starts = [test for what, test in last.items() if "start" in what.casefold()]
        assert any(test.good == good for test in starts), last
        capacitor = [test for what, test in last.items() if "capacitor" in what.casefold()]
        assert capacitor
        assert not any(test.good for test in capacitor)
        assert len({test.result for test in page.tested}) > 1
    healthy = written(HEAD, CSIR, HUMS, STAMP, reading("start_capacitor.farads", "98"))
    (test,) = customer_page(healthy, told_of(healthy)).tested
    weak = written(HEAD, CSIR, HUMS, STAMP, reading("start_capacitor.farads", "12.4"))
    (other,) = customer_page(weak, told_of(weak)).tested
    assert (test.good, other.good, test.what) == (True, False, other.what)
    assert test.result != other.result


def test_a_machine_only_recognised_orders_nothing(recognised: str) -> None:
    """Nothing is judged on it, so nothing is ordered, and the customer is told that."""
    job = written(HEAD, {"kind": "machine", "arrangement": recognised}, HUMS)
    assert "tested in another way" in customer_page(job, told_of(job)).explained
    page = counter_page(job, told_of(job))
    assert (page.headline, page.demands) == ("Nothing to order yet", ())


def test_prices_of_a_shop_add_up() -> None:
    """Part, work and both; together where there is more than one."""
    shop = shop_from_table({"rates": {"minute": 2.0}})
    two = {"kind": "decision", "remedies": ["replace start capacitor", "replace relay"]}
    job = written(*LOW, two)
    page = customer_page(job, told_of(job), shop, "$")
    price = [SHOP.remedy(r).price for r in two["remedies"]]
    work = [SHOP.remedy(r).minutes * 2.0 for r in two["remedies"]]
    rows = [(line.parts, line.work, line.total) for line in page.costs]
    wanted = [*zip(price, work, strict=True), (sum(price), sum(work))]
    assert rows == [(f"{p:,.2f} $", f"{w:,.2f} $", f"{p + w:,.2f} $") for p, w in wanted]
    assert page.costs[-1].what == "Together"
    one = written(*LOW, {"kind": "decision", "remedies": ["replace start capacitor"]})
    assert len(customer_page(one, told_of(one), shop, "$").costs) == 1


# -- the counter's page -------------------------------------------------------------------------------------


@everywhere
def test_the_counter_is_asked_for_what_is_due_and_for_nothing_else(name: str, count: int) -> None:
    """Before a verdict for what is likely, and told not to order; after the work for what was fitted."""
    job, told = at(name, count)
    page = counter_page(job, told)
    state = told.state
    if job.machine is None:
        assert page.headline == "No machine is described"
        return
    stamps: dict[str, list[str]] = {}
    for stamp in job.stamps:
        stamps.setdefault(stamp.part, []).append(stamp.text)
    if state.name in ("needed", "fitted", "repaired"):
        assert page.demands == demands(job.machine, state.due or state.done, stamps)
    elif state.name == "open":
        assert not page.demands or page.headline == "Do not order yet"
        likely = dict(told.now.advice.remedies) if told.now else {}
        for demand in page.demands:
            assert any(p >= 0.15 and demand.part in replaced_parts(job.machine, r) for r, p in likely.items())
    else:
        assert page.demands == ()
    if page.demands and state.due and state.name != "open":
        assert page.headline == (
            "To order" if len(page.demands) == 1 else f"To order: {len(page.demands)} parts"
        )
    assert len(page.fitted) == len(job.fitted)
    assert page.machine == machine_rows(job.machine)


def test_a_fitted_part_is_held_against_what_the_old_one_asked_for() -> None:
    """Fit and lines where marks were written down; silence where nothing can be compared."""
    good = written(*LOW, FITTED)
    (part,) = counter_page(good, told_of(good)).fitted
    assert (part.title, part.fit) == ("start capacitor", "no") or part.lines
    assert all(line.new for line in part.lines)
    silent = written(*LOW, {**FITTED, "note": "from the van"})
    (part,) = counter_page(silent, told_of(silent)).fitted
    assert (part.note, part.fit, part.lines) == ("from the van", "", ())


# -- the machine and the day --------------------------------------------------------------------------------


@pytest.mark.parametrize("gas", ["", "R134a", "R600a", "R717", "R999"])
def test_the_machine_is_told_with_its_plate_and_what_its_gas_is(gas: str) -> None:
    """What nobody read is said not to be; amps only where they were."""
    for amps, name in ((None, "rsir-ptc"), (12.0, "csr-potential-relay")):
        machine = Machine.of(name, None, Nameplate(115.0, 60.0, amps, None, gas))
        rows = {row.name: row for row in machine_rows(machine)}
        assert rows["Supply"].value == "115 V 60 Hz"
        assert ("Locked-rotor amps (LRA)" in rows) == (amps is not None)
        assert "Running amps (RLA)" not in rows
        assert rows["Refrigerant"].value == (gas or "not read")
        remark, kind = rows["Refrigerant"].remark, safety_class(gas)
        assert (kind or "not in the list") in remark or not gas
        assert ("flammable" in remark) == (bool(gas) and flammable(gas))
        assert machine.arrangement.abbreviation in rows["Start arrangement"].value


def test_the_day_or_the_days_stand_on_the_sheet() -> None:
    """Of one day, of several, and of none where nobody wrote a time down."""
    job = written(*LOW)
    assert sheet_of(job).date == "2026-03-02"
    moved = [replace(e, at=e.at + timedelta(days=2)) if e.kind == "reading" else e for e in job.events]
    from humclick.jobs.fold import fold

    assert sheet_of(fold(moved)).date == "2026-03-02 to 2026-03-04"
    untimed = [replace(e, at=e.at.replace(year=1970)) for e in job.events]
    sheet = sheet_of(fold(untimed))
    assert sheet.date == ""
    assert all(entry.at == "" for entry in sheet.technician_page.record)
    assert (sheet.shop, sheet.customer, sheet.invented) == ("Northgate Cold Works", "M. Example", True)


def test_words_for_remedies_are_the_shops_or_their_own_names() -> None:
    """With a capital, and joined with and."""
    assert remedy_title("replace relay", SHOP) == "Replace the start relay"
    assert remedy_title("paint it", SHOP) == "Paint it"
    assert titles(("replace relay", "paint it"), SHOP) == "replace the start relay and paint it"
