"""Energy is locked out for what sits in the rig, however the shop writes its kinds."""

from shop import isolation


def test_a_kind_is_known_whatever_its_capitals() -> None:
    for kinds in ({"generator", "compressor"}, {"Generator", " COMPRESSOR "}):
        points = isolation.lockout_points(caution_codes={"SC03"}, kinds_fitted=kinds)
        assert [point.source for point in points] == [
            "Shore power",
            "Generator",
            "Air",
            "Tried to start",
        ]
        gauges = isolation.zero_gauges(caution_codes={"SC03"}, kinds_fitted=kinds)
        assert [gauge.name for gauge in gauges] == ["Air receiver gauge"]


def test_work_without_stored_energy_locks_nothing() -> None:
    assert isolation.lockout_points(caution_codes={"SC15"}, kinds_fitted={"generator"}) == ()
