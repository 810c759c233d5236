from decimal import Decimal

import pytest

from equipment.models import Due
from equipment.services import rebuild_all
from tests.equipment.factories import ZONE, day, service_for, spray_rig

pytestmark = pytest.mark.django_db


def test_a_reading_moves_lives_and_due_rows() -> None:
    rig = spray_rig()
    service_for(rig.pump("A"), ("strokes", 10_000))
    rig.read(day(10), hours=40, a=1000, b=1200)
    rig.read(day(20), hours=80, a=2000, b=2200)
    assert rig.life("pump A", "strokes") == 2000
    assert rig.life("gun", "gallons") == Decimal("420")
    row = Due.objects.get(component=rig.pump("A"))
    assert row.since == 2000
    # 8000 strokes left at 100 a day.
    assert (row.due_date - row.read_on).days == 80
    assert rebuild_all(zone=ZONE)[1] == 0
