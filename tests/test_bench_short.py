"""The bench in short: that each row runs and gives a figure that can be one. How fast anything is, is no matter here: machines differ."""

from __future__ import annotations

import math
import re
import shutil
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from monitor.rehearse import season
from tests.bench import __main__ as bench
from tests.bench import (
    incubation,
    pairs,
    publisher,
    room,
    rows_air,
    rows_history,
    rows_judge,
    rows_link,
    rows_phone,
    rows_process,
    rows_record,
)
from tests.bench.pairs import Goal, Pair, Result
from tests.bench.strict_broker import WINDOW, StrictBroker
from tests.servers import program


def sane(result: Result, low: float, high: float) -> None:
    """A figure between bounds that only a mistake in the bench itself would leave, and no broken condition."""
    assert result.value is not None
    assert math.isfinite(result.value)
    assert low <= result.value <= high, bench.shown(result)
    assert not result.wrong, bench.shown(result)


@pytest.fixture(scope="module", autouse=True)
def _nothing_left(tmp_path_factory: pytest.TempPathFactory) -> object:
    """Every folder that a row makes is gone when it is through."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("bench")
        patch.setattr(tempfile, "tempdir", str(folder))
        yield
    assert list(folder.iterdir()) == []


def test_the_wet_bulb_is_exact() -> None:
    """Row 6: over the whole box the wet bulb is within a millionth of a kelvin of the bisected root, as an array and one by one."""
    (result,) = rows_air.accuracy(20_000)
    assert result.verdict == "pass", bench.shown(result)


def test_the_bisected_root_is_known_air() -> None:
    """The bench's own root agrees with psychrometric tables: 30 °C at 50 %RH and sea level has a wet bulb of 22.0 °C (from memory)."""
    dry, rh, pressure = (np.array([value]) for value in (30.0, 50.0, 101.325))
    assert rows_air.exact_wet_bulb_c(dry, rh, pressure)[0] == pytest.approx(22.0, abs=0.1)


def test_wet_bulb_rows_run() -> None:
    """Rows 7 and 8 give a ratio each."""
    sane(rows_air.array_speed(2, 20_000)[0], 0.5, 100.0)
    pytest.importorskip("psychrolib")
    sane(rows_air.scalar_speed(2, 500)[0], 0.005, 2.0)


def test_record_rows_run() -> None:
    """Rows 9, 10 and 11 give figures: every reading comes back, and a reading takes tens of bytes."""
    series, size = rows_record.days(2, 1, frozenset({"9", "11"}))
    sane(series, 0.2, 10.0)
    sane(size, 20.0, 80.0)
    (growth,) = rows_record.growth((120_000, 240_000), 2)
    sane(growth, -2.0, 2.0)


def test_link_rows_run() -> None:
    """Rows 1 to 3 give ratios; in row 1 both sides stored every message."""
    program("mosquitto", "mosquitto")
    flood = rows_link.flood(1, 400)[0]
    sane(flood, 0.02, 10.0)
    assert str(flood.goal) == ">= 0.6"
    cpu, wait = rows_link.paced(1, 0.5, frozenset({"2", "3"}))
    sane(cpu, 0.1, 50.0)
    sane(wait, 0.01, 1_000.0)


def test_strict_row_runs() -> None:
    """Row 4 gives a ratio: the daemon does not wait with its acknowledgements for messages that a strict broker holds back."""
    (result,) = rows_link.strict(1, 60)
    sane(result, 0.02, 2.0)


def test_phone_row_runs() -> None:
    """Row 5: each alarm reached the phone, was the one expected, and was closed."""
    program("mosquitto", "mosquitto")
    (result,) = rows_phone.alarms(1, 2)
    sane(result, -1_000.0, 20_000.0)


def test_process_rows_run() -> None:
    """Rows 12 and 13 give figures, and nothing heavy is loaded in a daemon at rest."""
    program("mosquitto", "mosquitto")
    sane(rows_process.start(1)[0], 0.5, 50.0)
    memory, cpu = rows_process.rest(1.0, 200, frozenset({"12", "13"}))
    sane(memory, 0.5, 10.0)
    sane(cpu, 0.0, 100.0)


def test_the_strict_broker_is_strict() -> None:
    """Never are more messages in flight than the window; a receiver that does not acknowledge gets no further one, and each
    acknowledgement releases one."""
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    got: list[int] = []
    with StrictBroker() as broker:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, manual_ack=True)
        client.on_connect = lambda client, *_: client.subscribe("a/#", 1)
        client.on_message = lambda _client, _data, message: got.append(message.mid)
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        try:
            assert broker.subscribed.wait(10)
            broker.offer([("a/b", b"%d" % number) for number in range(50)])
            room.wait_until(lambda: len(got) == WINDOW, "the window", 10)
            time.sleep(0.2)  # whatever more would come
            assert len(got) == WINDOW
            client.ack(got[0], 1)
            room.wait_until(lambda: len(got) == WINDOW + 1, "one more", 10)
            broker.wait_acknowledged(1, 10)
            assert broker.most_in_flight == WINDOW
        finally:
            client.disconnect()
            client.loop_stop()


def test_pairs_that_cannot_be_trusted_resolve_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A pair within which the machine changed its speed is run again, and too few steady ones are no verdict."""
    speeds = iter([1.0, 1.0, 2.0] * 100)
    monkeypatch.setattr(pairs, "calibrate", lambda: next(speeds))
    found = pairs.measure(lambda: 1.0, lambda: 2.0, 3)
    assert len(found) == 3 * pairs.TRIES
    result = pairs.ratio_of("1", "a", "b", Goal(1.0), found)
    assert (result.value, result.verdict) == (0.5, "not resolved")


def test_the_median_of_trusted_pairs_decides() -> None:
    """The verdict follows the median of the trusted pairs alone, and says when the later goal is reached too."""
    found = [Pair(ours, 1.0, moved) for ours, moved in ((0.55, 1.0), (0.58, 1.1), (0.7, 1.2), (9.0, 1.5))]
    result = pairs.ratio_of("1", "a", "b", Goal(0.5, 0.6, at_least=True), found)
    assert (result.value, result.low, result.high, result.trusted, result.verdict) == (0.58, 0.55, 0.7, 3, "pass")
    assert pairs.ratio_of("1", "a", "b", Goal(0.5, 0.58, at_least=True), found).verdict == "pass, later goal too"
    assert pairs.ratio_of("1", "a", "b", Goal(0.5), found).verdict == "FAIL"


def test_percentile_is_a_value_that_came() -> None:
    """Of a hundred values the 99th percentile is the 99th, of twelve the last."""
    assert pairs.percentile(list(range(1, 101)), 0.99) == 99
    assert pairs.percentile(list(range(1, 13)), 0.99) == 12


def test_a_packet_is_as_the_standard_writes_it() -> None:
    """A QoS 1 PUBLISH of MQTT 3.1.1, section 3.3: header, remaining length, topic, packet id, payload."""
    assert publisher.packets([("a/b", b"xyz", None)]) == [b"\x32\x0a\x00\x03a/b\x00\x01xyz"]
    assert publisher.remaining_length(321) == b"\xc1\x02"  # the standard's own example, section 2.2.3


def test_a_row_without_its_broker_says_so(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Where Mosquitto is missing the row says what to install, and the bench goes on."""
    monkeypatch.setattr(shutil, "which", lambda *_, **__: None)
    assert bench.main(["--rows", "1", "--quick"]) == 0
    assert "apt install mosquitto" in capsys.readouterr().out


def test_judge_rows_run() -> None:
    """Rows 14 to 16: a judged reading costs more than one wet bulb and less than two hundred; nothing was decided in calm air."""
    (cost,) = rows_judge.cost(2, 20)
    sane(cost, 1.0, 200.0)
    assert cost.note == "0 transitions meanwhile"
    (speed,) = rows_judge.speed(2, 30)
    sane(speed, 200.0, 50_000.0)
    year_s = float(speed.note.split("; ")[0].split("a year in ")[1].removesuffix(" s").replace(",", ""))
    assert year_s <= float(speed.ours.removesuffix(" s")) * 1.01
    assert (str(cost.goal), str(speed.goal)) == ("<= 12", "<= 7900")
    (growth,) = rows_judge.growth(40, 2)
    assert growth.value is not None
    assert 0.3 <= growth.value <= 2.0


def test_history_rows_run() -> None:
    """Rows 17 and 18: every reading is counted once, reading it is a part of the cost, and the page is one page."""
    figures, page = rows_history.reports(2, 1.0, frozenset({"17", "18"}))
    sane(figures, 0.8, 30.0)
    sane(page, 0.8, 60.0)
    assert 20 < float(page.note.split()[0]) < 1_000


def test_season_row_runs() -> None:
    """Row 19: all batches at once, and one beside the others, each read once: what stands beside is not read again for each question."""
    for result in rows_history.season(1, 4, 28.0):
        sane(result, 1.0, 300.0)
        asked, held = (int(number) for number in re.findall(r"\d+", result.note.replace(",", "")))
        assert held <= asked <= 1.05 * held


def test_history_growth_row_runs() -> None:
    """Row 20: an exponent of the batch's length, and one of the years round it, which even in a record this small is no straight line."""
    length, years = rows_history.growth((1.0, 4.0), (0.1, 0.8), 2)
    sane(length, 0.1, 2.0)
    sane(years, -1.0, 0.8)


def test_the_invented_record_holds_what_it_says(tmp_path: Path) -> None:
    """Twenty openings a day, both probes on one time, a reading in two hundred missing; the bare query reads each row of the batch once."""
    batch = incubation.batch_of("duck-1", incubation.BEGAN_MS, 2.0)
    with incubation.writing(tmp_path / "record.db") as ledger:
        incubation.write_batch(ledger, batch)
        incubation.write_air(ledger, incubation.SETTER, incubation.BEGAN_MS + 2 * 86_400_000, incubation.BEGAN_MS + 3 * 86_400_000, 60_000)  # fmt: skip
    with incubation.reading(tmp_path / "record.db") as history:
        assert len(history.events()) == pytest.approx(40, abs=1)
        counts = []
        for stay in batch.stays:
            assert stay.until is not None
            found = [
                history.series(f"{season.NODES[stay.machine]}/{probe}", stay.since, stay.until)
                for probe in season.PROBES
            ]
            assert found[0].at_ms.tolist() == found[1].at_ms.tolist()
            counts += [each.at_ms.size for each in found]
    bare = incubation.Bare(tmp_path / "record.db")
    try:
        assert bare.read(bare.plan(batch)) == sum(counts)
    finally:
        bare.close()
    assert sum(counts) == pytest.approx(2 * 2 * 8_640 * 0.995, rel=0.003)


def test_the_table_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """One row by its number: what, verdict, figure and goal."""
    assert bench.main(["--rows", "6", "--quick"]) == 0
    out = capsys.readouterr().out
    assert " 6  wet bulb, largest error" in out
    assert "goal <= 1e-06" in out


def test_the_reference_judges_as_it_says() -> None:
    """The bare loop's wet bulb is right, or it would be a faster reference than it may be."""
    from monitor.domain.air.psychrometrics import wet_bulb_c
    from tests.bench.bare import wet_bulb_c as bare_wet_bulb_c

    for dry, rh in ((37.8, 57.0), (25.0, 40.0), (38.5, 80.0)):
        assert bare_wet_bulb_c(dry, rh) == pytest.approx(wet_bulb_c(dry, rh, 101.325), abs=1e-6)


def test_folders_are_removed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bench's folder is gone afterwards, also when a row breaks."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))

    def broken_row() -> None:
        with room.folder() as path:
            (path / "record.db").write_text("")
            raise RuntimeError("broken")

    with pytest.raises(RuntimeError, match="broken"):
        broken_row()
    assert list(tmp_path.iterdir()) == []
