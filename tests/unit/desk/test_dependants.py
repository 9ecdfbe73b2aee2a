"""What an event used, and what rests on it in turn."""

from __future__ import annotations

from loopworthy.desk import dependants, history, mending, steps
from loopworthy.desk.history import HistoryFilter
from tests.unit.desk.conftest import Bench
from tests.unit.desk.test_steps import air, climate


def test_sensor_readings_rest_on_the_days_pressure_and_say_so_both_ways(bench: Bench) -> None:
    events = steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("10.4", "11.1", "9.6")], read_by=bench.reader
    )
    by_step = {getattr(event.payload, "step", ""): event.id for event in events}
    pressure = dependants.ties(bench.workplace, by_step["C01"])
    resting = {item.step for item in pressure.rests_on_it}
    assert "C03" in resting
    assert set(pressure.directly) <= {item.event for item in pressure.rests_on_it}
    assert by_step["C01"] in dependants.ties(bench.workplace, by_step["C03"]).used
    assert pressure.withdrawal is None


def test_history_narrows_to_late_and_to_withdrawn_entries_and_reads_on(bench: Bench) -> None:
    happened = bench.workplace.now()
    bench.clock.forward(minutes=30)
    (first, *_) = steps.record_steps(
        bench.workplace, bench.unit, climate(bench), read_by=bench.reader, occurred_at=happened
    )
    mending.withdraw(bench.workplace, first.id, reason="wrong barometer", person=bench.reader)
    late = history.history(bench.workplace, HistoryFilter(late=True))
    assert {one.event for one in late} >= {first.id}
    assert all(one.late for one in late)
    (withdrawn,) = history.history(bench.workplace, HistoryFilter(withdrawn=True))
    assert (withdrawn.event, withdrawn.withdrawn) == (first.id, "wrong barometer")
    everything = history.history(bench.workplace, HistoryFilter(), most=1000)
    page = history.history(bench.workplace, HistoryFilter(), most=5)
    more = history.history(bench.workplace, HistoryFilter(older_than=page[-1].event), most=1000)
    assert page + more == everything
