"""What is isolated and proved at zero, and what keeps a check locked until then.

The order of the steps is read out of 29 CFR 1910.147(d) and (e). That a proof holds eight hours is
common practice, no source.
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from equipment.models import Check
from shop import isolation
from shop.isolation import (
    Before,
    Energy,
    Fitted,
    Moment,
    Phase,
    Proof,
    Stage,
    Wanted,
    still_before,
)
from shop.models import SheetStep
from tests.equipment.test_library import rows

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
#: 29 CFR 1910.147(d)(1) to (d)(6), then (e).
ORDER = ["prepare", "shut_down", "isolate", "lock", "release", "verify"]
WHOLE_RIG = [
    Fitted("generator", "", 1),
    Fitted("transfer switch", "", 2),
    Fitted("transfer switch", "", 3),
    Fitted("electrical panel", "", 4),
    Fitted("compressor", "", 5),
    Fitted("hydraulic unit", "", 6),
    Fitted("pump", "A", 7),
    Fitted("pump", "B", 8),
    Fitted("preheater", "A", 9),
    Fitted("heated hose", "", 10),
    Fitted("gun", "", 11),
]


def steps(fitted: list[Fitted] | None = None, **more: Any) -> list[isolation.Step]:
    asked = {"caution_codes": {"SC02"}, "opened": {"material"}, "inside_enclosures": False, **more}
    points = isolation.starting_points(WHOLE_RIG if fitted is None else fitted)
    return list(isolation.lockout_steps(points, **asked))


def titles(listed: list[isolation.Step], phase: str) -> list[str]:
    return [f"{step.title} {step.side}".strip() for step in listed if step.phase == phase]


# --- which points, in which order ------------------------------------------------------------


def test_a_whole_rig_has_each_source_by_name() -> None:
    assert titles(steps(), Phase.ISOLATE) == [
        "Shore power",
        "Generator",
        "Start battery",
        "Transfer switch at position 2",
        "Transfer switch at position 3",
        "Electrical panel",
        "Hydraulic pressure",
        "Air",
        "Heaters",
        "Heated fluid A",
        "Heated fluid B",
    ]
    assert titles(steps(), Phase.LOCK) == ["Your own lock"]
    assert [f"{step.title} {step.side} {step.unit}" for step in steps() if step.unit] == [
        "Gauge A psi",
        "Gauge B psi",
    ]


codes = st.sets(st.sampled_from([f"SC{number:02}" for number in range(1, 31)]))
pressures = st.sets(st.sampled_from(Check.Opens.values))
kinds = st.lists(
    st.builds(
        Fitted,
        st.sampled_from([each.kind for each in WHOLE_RIG] + ["dryer", "Feed pump ", "own kind"]),
        st.just(""),
        st.integers(1, 20),
    )
)


@given(kinds, codes, pressures, st.booleans())
def test_the_steps_follow_the_order_of_the_rule(
    fitted: list[Fitted], spoken: set[str], opened: set[str], inside: bool
) -> None:
    found = steps(fitted, caution_codes=spoken, opened=opened, inside_enclosures=inside)
    places = [ORDER.index(step.phase) for step in found]
    assert places == sorted(places)
    if found:
        assert places[0] == 0
        assert {"isolate", "lock", "verify"} <= {step.phase for step in found}
    for step in found:
        assert isolation.PARAGRAPHS[Phase(step.phase)] in step.source
        assert len(step.title) <= SheetStep._meta.get_field("title").max_length
        assert len(step.source) <= SheetStep._meta.get_field("source").max_length


@given(kinds, codes, pressures)
def test_whatever_is_opened_has_a_proof_of_its_own(
    fitted: list[Fitted], spoken: set[str], opened: set[str]
) -> None:
    """On a rig of any kinds, and on the bench."""
    found = steps(fitted, caution_codes=spoken, opened=opened)
    assert opened <= {each for step in found for each in step.proves}
    if "material" in opened:
        assert {step.side for step in found if "material" in step.proves} == {"A", "B"}
    bench = isolation.bench_steps(caution_codes=spoken, opened=opened)
    assert opened <= {each for step in bench for each in step.proves}
    assert not any(step.unit for step in bench)  # it has no rig whose gauges could be read


@given(kinds)
def test_every_kind_that_carries_energy_has_a_starting_point(fitted: list[Fitted]) -> None:
    points = isolation.starting_points(fitted)
    carrying = {row["name"] for row in rows("kinds.csv") if row["flow"]}
    here = [each.kind for each in fitted if each.kind in carrying]
    assert isolation.without_a_point(kinds=here, points=points) == []
    assert {point.energy for point in points} <= set(Energy)
    assert all(bool(point.unit) == (point.verify_by == Proof.GAUGE) for point in points)


def test_a_kind_is_known_whatever_its_capitals() -> None:
    shouted = [Fitted(" GENERATOR "), Fitted("Compressor")]
    found = steps(shouted, caution_codes={"SC03"}, opened=set())
    assert titles(found, Phase.ISOLATE) == ["Shore power", "Generator", "Start battery", "Air"]
    assert [step.title for step in found if step.unit] == ["Air receiver gauge"]


def test_work_without_stored_energy_locks_nothing() -> None:
    assert steps(caution_codes={"SC15"}, opened=set()) == []
    assert isolation.bench_steps(caution_codes={"SC24"}, opened=set()) == ()


def test_only_work_inside_enclosures_asks_an_electrician_to_prove_it_dead() -> None:
    def theirs(listed: list[isolation.Step]) -> list[str]:
        return [step.title for step in listed if step.for_electrician]

    assert theirs(steps()) == []
    assert theirs(steps(inside_enclosures=True)) == [
        "Transfer switch at position 2",
        "Transfer switch at position 3",
        "Electrical panel",
    ]


def test_the_sources_are_those_of_the_cautions() -> None:
    """Word for word as `safety_cautions.csv` gives them, but for the parts that are left out."""
    listed = {row["id"]: row["source"] for row in rows("safety_cautions.csv")}
    assert {code: listed[code] for code in isolation.CAUTION_SOURCES} == isolation.CAUTION_SOURCES


def test_what_is_from_memory_stays_on_record_and_is_not_cited() -> None:
    """The marker of the library is left out where a source is cited, and nothing else is."""
    marked = [row["source"] for row in rows("safety_cautions.csv") if "memory" in row["source"]]
    assert len(marked) > 8
    for row in rows("safety_cautions.csv"):
        cited = isolation.citation(row["source"])
        assert "memory" not in cited
        words = row["source"].replace("from memory:", "").replace("from memory", "")
        assert cited.split() == words.replace(" )", ")").split()
        if row["basis"] == "from-memory-of-published":
            assert row["source"] in marked


def test_sources_after_each_other_are_cited_without_a_gap() -> None:
    """Where the one from memory is not the first, its marker takes no mark beside it along."""
    cited = [isolation.citation(step.source) for step in steps(inside_enclosures=True)]
    assert cited
    for source in cited:
        assert "memory" not in source
        assert not re.search(r"[:;] ?[:;]|  ", source), source


def test_the_words_of_the_points_are_those_of_the_cautions() -> None:
    """What a point asks stands in the text of the caution that its source is."""
    text = {row["id"]: row["caution_text"].casefold() for row in rows("safety_cautions.csv")}
    points = {point.name: point for point in isolation.starting_points(WHOLE_RIG)}
    for name, code, words in (
        ("Hydraulic pressure", "SC01", ["stop the power pack", "lock its disconnect", "bleed the"]),
        ("Hydraulic pressure", "SC01", ["lower or release every load"]),
        ("Heated fluid", "SC02", ["its own drum", "recirculation valve", "feed pump"]),
        ("Air", "SC03", ["shut the outlet valve", "drain the receiver fully"]),
        ("Heaters", "SC04", ["fluid, metal and oil stay hot enough to burn long after power is"]),
        ("Start battery", "SC21", ["ground lead", "first"]),
        ("Electrical panel", "SC16", ["licensed electrician", "with a tested meter"]),
    ):
        point = points[name]
        said = f"{point.isolate} {point.release} {point.verify}".casefold()
        for phrase in words:
            assert phrase in said, (name, phrase)
            assert phrase in text[code].replace("their own drums", "its own drum").replace(
                "valves", "valve"
            ), (code, phrase)


def test_the_way_back_is_that_of_the_rule() -> None:
    """29 CFR 1910.147(e)(1) clear and whole, (2) people, (3) each takes off his own lock."""
    sources = [step.source[:21] for step in isolation.return_steps()]
    assert sources == [f"29 CFR 1910.147(e)({n})" for n in (1, 2, 3)]
    assert [step.is_start for step in isolation.return_steps()] == [False, False, True]


# --- what keeps a check locked ---------------------------------------------------------------

CAUTION = Before(1, is_caution=True, is_done=True, at=NOON)
SWITCH = Before(2, phase=Phase.ISOLATE, is_done=True, at=NOON)
LOCK = Before(3, phase=Phase.LOCK, is_done=True, at=NOON)
TRIED = Before(4, phase=Phase.VERIFY, is_done=True, at=NOON)
GAUGE = Before(5, phase=Phase.VERIFY, proves=frozenset({"material"}), is_done=True, at=NOON, turn=5)
OIL = Before(6, phase=Phase.VERIFY, proves=frozenset({"oil"}), is_done=True, at=NOON)
TESTED = Before(7, phase=Phase.VERIFY, for_electrician=True, is_done=True, at=NOON)
ALL = [CAUTION, SWITCH, LOCK, TRIED, GAUGE, OIL, TESTED]
OPENS = Wanted(opens=frozenset({"material"}))


def waiting(
    wanted: Wanted, *, after: timedelta = HOUR, started: Moment | None = None, steps: Any = None
) -> list[int]:
    return list(still_before(steps or ALL, wanted, started=started, at=NOON + after))


def test_a_zero_older_than_a_shift_is_looked_at_again_before_something_is_opened() -> None:
    edge = isolation.PROOF_HOLDS
    assert edge == timedelta(hours=8)
    past = edge + timedelta(seconds=1)
    assert waiting(OPENS, after=edge) == []
    assert waiting(OPENS, after=past) == [3, 4, 5]
    assert waiting(Wanted(opens=frozenset({"oil"})), after=past) == [3, 4, 6]
    # What opens nothing wants the lock and the try-out alone; what was done already, nothing.
    assert waiting(Wanted(is_still=True), after=edge) == []
    assert waiting(Wanted(is_still=True), after=past) == [3, 4]
    assert waiting(Wanted(), after=10 * edge) == []


def test_after_a_start_lock_and_proofs_are_done_again() -> None:
    started = Moment(NOON + timedelta(minutes=5))
    assert waiting(OPENS, started=started) == [3, 4, 5]
    assert waiting(Wanted(is_still=True), started=started) == [3, 4]
    assert waiting(Wanted(), started=started) == []
    assert waiting(OPENS, started=Moment(NOON - HOUR)) == []
    # Entries of one instant are told apart by their turn.
    assert 5 not in waiting(OPENS, started=Moment(NOON, turn=4))
    assert 5 in waiting(OPENS, started=Moment(NOON, turn=6))


def test_a_check_for_which_the_rig_runs_wants_the_cautions_only() -> None:
    undone = [Before(each.key, is_caution=each.is_caution, phase=each.phase) for each in ALL]
    assert waiting(Wanted(is_run=True), steps=undone) == [1]


def test_what_an_electrician_proves_keeps_only_his_checks_locked() -> None:
    untested = [*ALL[:-1], Before(7, phase=Phase.VERIFY, for_electrician=True)]
    assert waiting(OPENS, steps=untested) == []
    assert waiting(Wanted(for_electrician=True), steps=untested) == [7]
    assert waiting(Wanted(for_electrician=True), after=9 * HOUR) == [3, 4, 7]


BACK = [Before(8 + n, phase=Phase.RETURN, is_done=True, at=NOON + HOUR) for n in range(3)]


def test_the_rig_runs_once_it_is_back_in_service_and_no_lock_was_put_on_since() -> None:
    """29 CFR 1910.147(e): all three come before the rig has its energy again."""
    runs = Wanted(is_run=True, is_after_return=True)

    def open_of(steps: list[Before], locked: Moment | None) -> list[int]:
        at = NOON + 3 * HOUR
        return list(still_before(steps, runs, started=None, at=at, locked=locked))

    before, after = Moment(NOON), Moment(NOON + 2 * HOUR)
    assert open_of([*ALL, *BACK], before) == open_of([*ALL, *BACK], None) == []
    assert open_of([*ALL, *BACK], after) == [8, 9, 10]
    assert open_of([*ALL, *BACK[:2], Before(10, phase=Phase.RETURN)], before) == [10]
    as_found = Wanted(is_run=True)
    assert list(still_before([CAUTION, *BACK], as_found, started=None, at=None, locked=after)) == []
    # The way back keeps no other check locked.
    assert waiting(OPENS, steps=[*ALL, Before(8, phase=Phase.RETURN)]) == []


#: What somebody does on a rig, one after the other: a step, a start, or to open a pressure.
walks = st.lists(
    st.tuples(st.sampled_from(["step", "run", "open"]), st.integers(0, 40)), max_size=60
)


@given(walks, st.sampled_from([["material"], ["oil"], ["air", "material"]]))
def test_nothing_is_opened_after_a_start_without_a_new_proof(
    walk: list[tuple[str, int]], opened: list[str]
) -> None:
    """However the steps are done, and whatever ran between: the lock and the proof come after."""
    listed = steps(opened=set(opened), caution_codes={"SC01", "SC02", "SC03"})
    done: dict[int, int] = {}
    started: Moment | None = None
    wanted = Wanted(opens=frozenset(opened))
    at_last = [("step", n) for n in range(len(listed))] + [("open", 0)]
    for turn, (act, nth) in enumerate(walk + at_last, 1):
        if act == "step":
            done[nth % len(listed)] = turn
        elif act == "run":
            started = Moment(NOON, turn)
        else:
            stand = [
                Before(
                    key,
                    phase=step.phase,
                    proves=frozenset(step.proves),
                    is_done=key in done,
                    at=NOON if key in done else None,
                    turn=done.get(key, 0),
                )
                for key, step in enumerate(listed)
            ]
            is_open = not list(still_before(stand, wanted, started=started, at=NOON))
            since = started.turn if started else 0
            proved = {
                each
                for key, step in enumerate(listed)
                for each in step.proves
                if done.get(key, 0) > since
            }
            locked = [key for key, step in enumerate(listed) if step.phase == Phase.LOCK]
            shown = {key for key, step in enumerate(listed) if set(step.proves) & wanted.opens}
            after = (Phase.LOCK, Phase.VERIFY)
            if is_open:
                assert set(opened) <= proved
                assert all(done[key] > since for key in locked)
                assert min(at for key, at in done.items() if key in shown) > max(
                    at for key, at in done.items() if listed[key].phase not in after
                )
            if turn == len(walk) + len(at_last):
                assert is_open  # done anew after all that ran, it opens


# --- in which order the checks are done ------------------------------------------------------


@given(st.lists(st.lists(st.booleans(), max_size=6), max_size=5))
def test_the_stages_keep_the_order_of_each_service(services: list[list[bool]]) -> None:
    placed = isolation.stages(services)
    order = list(Stage)
    assert [len(each) for each in placed] == [len(runs) for runs in services]
    only_runs = all(all(runs) for runs in services)
    for runs, found in zip(services, placed, strict=True):
        places = [order.index(stage) for stage in found]
        assert places == sorted(places)
        for is_run, stage in zip(runs, found, strict=True):
            assert is_run or stage != Stage.FOUND  # nothing is opened before lockout
            assert only_runs or not is_run or stage != Stage.STILL  # nor runs while locked out
        if not all(runs):
            assert Stage.STILL in found


def test_the_running_checks_of_the_library_stand_where_their_words_say() -> None:
    services: dict[str, list[dict[str, str]]] = {}
    for row in rows("checks.csv"):
        services.setdefault(row["id"], []).append(row)
    placed = isolation.stages(
        [[row["runs"] == "yes" for row in listed] for listed in services.values()]
    )
    found: dict[Stage, set[str]] = {stage: set() for stage in Stage}
    for listed, of_service in zip(services.values(), placed, strict=True):
        for row, stage in zip(listed, of_service, strict=True):
            found[stage].add(row["text"])
    assert found[Stage.FOUND] == {
        "Filter drop before the change",
        "Sample taken warm from the running circuit",
        "Look of the oil",
        "Relief valve opens and reseats",
        "Pressure dew point at the outlet",
        "GFCI trips and resets",
    }
    stopped = {row["text"] for row in rows("checks.csv") if row["runs"] != "yes"}
    assert found[Stage.RUN] & stopped == {"Gauge returns to zero", "Joints wrapped again"}
    for text in ("Stall test after: holds on both strokes", "Volts at rated load", "A side caught"):
        assert text in found[Stage.RUN]


befores = st.lists(
    st.builds(
        Before,
        key=st.integers(1, 9),
        is_caution=st.booleans(),
        phase=st.sampled_from(["", *Phase]),
        proves=st.frozensets(st.sampled_from(Check.Opens.values)),
        for_electrician=st.booleans(),
        is_done=st.booleans(),
        at=st.none() | st.datetimes(timezones=st.just(UTC)),
    ),
    max_size=8,
    unique_by=lambda each: each.key,
)
wanteds = st.builds(
    Wanted,
    opens=st.frozensets(st.sampled_from(Check.Opens.values)),
    is_run=st.booleans(),
    for_electrician=st.booleans(),
    is_still=st.booleans(),
)


@given(befores, wanteds, st.datetimes(timezones=st.just(UTC)), st.timedeltas(timedelta(0)))
def test_locks_only_ever_tighten(
    listed: list[Before], wanted: Wanted, at: datetime, ran: timedelta
) -> None:
    """A later look, a start, an opened pressure: none of them takes a lock away."""
    once = set(still_before(listed, wanted, started=None, at=None))
    now = set(still_before(listed, wanted, started=None, at=at))
    assert once <= now
    try:
        start = Moment(at - ran)
    except OverflowError:
        return
    assert now <= set(still_before(listed, wanted, started=start, at=at))
    closed = Wanted(is_run=wanted.is_run, for_electrician=wanted.for_electrician)
    assert set(still_before(listed, closed, started=None, at=at)) <= now
    undone = {
        each.key for each in listed if not each.is_done and each.is_caution and not each.phase
    }
    if wanted.for_electrician:
        assert undone <= once
