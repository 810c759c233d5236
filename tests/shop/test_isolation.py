"""What is isolated and proved at zero, and what keeps a check locked until then.

The order of the steps is read out of 29 CFR 1910.147(d) and (e). That a proof holds eight hours is
common practice, no source.
"""

from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from equipment.models import Check
from shop import isolation
from shop.isolation import Before, Energy, Fitted, Phase, Proof, Start, Wanted, still_before
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
    wanted: Wanted, *, after: timedelta = HOUR, started: Start | None = None, steps: Any = None
) -> list[int]:
    return list(still_before(steps or ALL, wanted, started=started, at=NOON + after))


def test_a_zero_older_than_a_shift_is_looked_at_again_before_something_is_opened() -> None:
    edge = isolation.PROOF_HOLDS
    assert edge == timedelta(hours=8)
    assert waiting(OPENS, after=edge) == []
    assert waiting(OPENS, after=edge + timedelta(seconds=1)) == [5]
    assert waiting(Wanted(), after=10 * edge) == []  # opens nothing
    assert waiting(Wanted(opens=frozenset({"oil"})), after=2 * edge) == [6]


def test_after_a_start_lock_and_proofs_are_done_again() -> None:
    started = Start(NOON + timedelta(minutes=5))
    assert waiting(OPENS, started=started) == [3, 4, 5]
    assert waiting(Wanted(), started=started) == []
    assert waiting(OPENS, started=Start(NOON - HOUR)) == []
    # Entries of one instant are told apart by their turn.
    assert 5 not in waiting(OPENS, started=Start(NOON, turn=4))
    assert 5 in waiting(OPENS, started=Start(NOON, turn=6))


def test_a_check_for_which_the_rig_runs_wants_the_cautions_only() -> None:
    undone = [Before(each.key, is_caution=each.is_caution, phase=each.phase) for each in ALL]
    assert waiting(Wanted(is_run=True), steps=undone) == [1]


def test_what_an_electrician_proves_keeps_only_his_checks_locked() -> None:
    untested = [*ALL[:-1], Before(7, phase=Phase.VERIFY, for_electrician=True)]
    assert waiting(OPENS, steps=untested) == []
    assert waiting(Wanted(for_electrician=True), steps=untested) == [7]
    assert waiting(Wanted(for_electrician=True), after=9 * HOUR) == [7]


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
        start = Start(at - ran)
    except OverflowError:
        return
    assert now <= set(still_before(listed, wanted, started=start, at=at))
    closed = Wanted(is_run=wanted.is_run, for_electrician=wanted.for_electrician)
    assert set(still_before(listed, closed, started=None, at=at)) <= now
    undone = {each.key for each in listed if not each.is_done and each.is_caution}
    if wanted.for_electrician:
        assert undone <= once
