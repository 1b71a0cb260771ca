"""One reader for all processes, for one job at a time, let go when nobody asks."""

from __future__ import annotations

import fcntl
import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from bittern.bench.adapter.reader import IDLE_S, NUMBER_S, STILL_S, SharedReader
from bittern.engines.link.heard import Heard, NumberHeard
from bittern.engines.link.supply import SupplySample
from bittern.link.watch import STOPPED, Wish

from .conftest import wait_until


class Puppet:
    """What reads in place of an adapter: tells what the test lets it tell."""

    def __init__(self) -> None:
        self.find_wish: Callable[[], Wish | None] = lambda: None
        self.tell: Callable[[Heard], None] = lambda heard: None
        self.runs = 0
        self.let_go = threading.Event()

    def __call__(
        self,
        find_wish: Callable[[], Wish | None],
        tell: Callable[[Heard], None],
        stop: threading.Event,
    ) -> None:
        self.find_wish, self.tell = find_wish, tell
        self.runs += 1
        while not (stop.is_set() or self.let_go.is_set()):
            stop.wait(0.01)


class Time:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


class Pair:
    """Two readers on one folder, as two processes have them, with one clock."""

    def __init__(self, folder: Path) -> None:
        self.time = Time()
        self.puppets = Puppet(), Puppet()
        self.readers = tuple(SharedReader(folder, puppet, clock=self.time) for puppet in self.puppets)


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[Pair]:
    made = Pair(tmp_path / "adapter")
    yield made
    for reader in made.readers:
        reader.stop()


def test_only_one_process_reads_and_both_see_it(pair: Pair) -> None:
    first, second = pair.readers
    assert first.ask(7).state == "opening"
    wait_until(lambda: pair.puppets[0].runs)
    assert second.ask(7).state == "opening"
    pair.puppets[0].tell(Heard("answering", "", 7, 1000.0, (SupplySample(999.0, 12.5),)))
    pair.time.now_s += 3
    for reader in pair.readers:
        heard = reader.ask(7)
        assert (heard.state, heard.now_s) == ("answering", 1003.0)
        assert [sample.volts for sample in heard.samples] == [12.5]
    assert pair.puppets[1].runs == 0


def test_when_the_reading_process_ends_another_takes_over(pair: Pair) -> None:
    first, second = pair.readers
    first.ask(7)
    wait_until(lambda: pair.puppets[0].runs)
    pair.puppets[0].tell(Heard("answering", "", 7, 1000.0))
    first.stop()
    # What the first has heard went with it.
    assert second.ask(7).state == "opening"
    wait_until(lambda: pair.puppets[1].runs)


def test_a_job_has_the_adapter_to_itself_while_its_pages_ask(pair: Pair) -> None:
    reader = pair.readers[0]
    reader.ask(7)
    wait_until(lambda: pair.puppets[0].runs)
    pair.puppets[0].tell(Heard("answering", "", 7, 1000.0, (SupplySample(999.0, 12.5),)))
    for other in pair.readers:
        busy = other.ask(8)
        assert (busy.state, busy.job, busy.samples) == ("elsewhere", 7, ())
        assert "job 7" in busy.say
        assert other.hear(8).samples == ()
    assert pair.puppets[0].find_wish() == Wish(7)
    pair.time.now_s += IDLE_S - 1
    reader.ask(7)
    pair.time.now_s += IDLE_S - 1
    assert reader.ask(8).state == "elsewhere"
    pair.time.now_s += 2
    # Nobody has asked for job 7 meanwhile, and what was heard for it is not shown on job 8.
    found = reader.ask(8)
    assert (found.state, found.samples) == ("opening", ())
    assert pair.puppets[0].find_wish() == Wish(8)


def test_the_adapter_can_be_taken_over(pair: Pair) -> None:
    reader = pair.readers[0]
    reader.ask(7, number=True)
    assert reader.ask(8, take=True).state == "opening"
    wait_until(lambda: pair.puppets[0].runs)
    # The number is not wanted of the other's vehicle.
    assert pair.puppets[0].find_wish() == Wish(8)
    assert reader.ask(7).state == "elsewhere"


def test_when_nobody_asks_nothing_is_wished_any_more(pair: Pair) -> None:
    pair.readers[0].ask(7)
    wait_until(lambda: pair.puppets[0].runs)
    pair.time.now_s += IDLE_S - 0.1
    assert pair.puppets[0].find_wish() == Wish(7)
    pair.time.now_s += 0.2
    assert pair.puppets[0].find_wish() is None


def test_to_hear_asks_for_nothing(pair: Pair, tmp_path: Path) -> None:
    assert pair.readers[0].hear(7).state == "off"
    assert pair.puppets[0].runs == 0
    assert not (tmp_path / "adapter").exists()


class Hurried(Time):
    """A clock on which the adapter says something new the moment that somebody has looked at it."""

    def __init__(self, tell: Callable[[Heard], None]) -> None:
        super().__init__()
        self.tell = tell

    def __call__(self) -> float:
        seen_s = self.now_s
        self.now_s += 0.01
        self.tell(Heard("answering", "", 7, self.now_s, number=NumberHeard(self.now_s, {"7E8": "NEW"})))
        return seen_s


def test_what_is_said_while_somebody_looks_is_not_of_the_future(pair: Pair) -> None:
    reader, puppet = pair.readers[0], pair.puppets[0]
    reader.ask(7)
    wait_until(lambda: puppet.runs)
    puppet.tell(Heard("answering", "", 7, 1000.0, number=NumberHeard(1000.0, {"7E8": "OLD"})))
    reader._clock = Hurried(puppet.tell)
    for heard in (reader.hear(7), reader.ask(7)):
        assert heard.state == "answering"
        assert heard.number is not None


def test_the_number_is_waited_for_until_it_is_answered_anew(pair: Pair) -> None:
    reader, puppet = pair.readers[0], pair.puppets[0]
    assert reader.ask(7, number=True).asked_s == 1000.0
    wait_until(lambda: puppet.runs)
    puppet.tell(Heard("answering", "", 7, 1000.0, number=NumberHeard(900.0, {"7E8": "OLD"})))
    pair.time.now_s += 1
    # Asked once more while it is on its way: the first question stands.
    assert reader.ask(7, number=True).asked_s == 1000.0
    assert puppet.find_wish() == Wish(7, 1000.0)
    puppet.tell(Heard("answering", "", 7, 1001.0, number=NumberHeard(1000.5, {"7E8": "NEW"})))
    heard = reader.ask(7)
    assert (heard.asked_s, heard.number and heard.number.numbers["7E8"]) == (None, "NEW")
    pair.time.now_s += 1
    # Nobody has taken the answer yet: it is the answer to a second press too, of either process.
    for other in pair.readers:
        heard = other.ask(7, number=True)
        assert (heard.asked_s, heard.number and heard.number.numbers["7E8"]) == (None, "NEW")


def test_an_answer_that_was_taken_is_no_answer_to_the_next_question(pair: Pair) -> None:
    (reader, other), puppet = pair.readers, pair.puppets[0]
    reader.ask(7, number=True)
    wait_until(lambda: puppet.runs)
    puppet.tell(Heard("answering", "", 7, 1000.0, number=NumberHeard(1000.0, {"7E8": "TAKEN"})))
    # Of another job it takes nothing back.
    other.close_question(8)
    assert puppet.find_wish() == Wish(7, 1000.0)
    other.close_question(7)
    assert puppet.find_wish() == Wish(7)
    pair.time.now_s += 0.5
    assert reader.ask(7).asked_s is None
    assert reader.ask(7, number=True).asked_s == 1000.5


def test_an_answer_that_nobody_took_is_too_old_after_a_while(pair: Pair) -> None:
    reader, puppet = pair.readers[0], pair.puppets[0]
    reader.ask(7, number=True)
    wait_until(lambda: puppet.runs)
    puppet.tell(Heard("answering", "", 7, 1000.0, number=NumberHeard(1000.5, {"7E8": "OLD"})))
    pair.time.now_s += NUMBER_S
    assert reader.ask(7, number=True).asked_s == 1000.0 + NUMBER_S


def test_a_number_that_never_comes_is_asked_for_anew_after_a_while(pair: Pair) -> None:
    reader = pair.readers[0]
    reader.ask(7, number=True)
    pair.time.now_s += NUMBER_S - 1
    assert reader.ask(7, number=True).asked_s == 1000.0
    pair.time.now_s += 2
    assert reader.ask(7, number=True).asked_s == 1000.0 + NUMBER_S + 1


def test_a_reader_that_hangs_is_said(pair: Pair) -> None:
    reader, puppet = pair.readers[0], pair.puppets[0]
    reader.ask(7)
    wait_until(lambda: puppet.runs)
    puppet.tell(Heard("answering", "", 7, 1000.0, (SupplySample(1000.0, 12.5),)))
    for _ in range(3):
        pair.time.now_s += STILL_S / 2
        heard = reader.ask(7)
    assert (heard.state, heard.say) == ("stopped", STOPPED)


@pytest.mark.parametrize("text", ["", "{", "[]", "[1]", '["x", 2, 3]', "null", '{"state": "answering"}'])
def test_damaged_files_are_as_good_as_none(pair: Pair, tmp_path: Path, text: str) -> None:
    folder = tmp_path / "adapter"
    folder.mkdir()
    (folder / "claim.json").write_text(text)
    assert pair.readers[0].ask(7).state == "opening"
    wait_until(lambda: pair.puppets[0].runs)
    (folder / "heard.json").write_text(text)
    assert pair.readers[0].ask(7).state == "opening"
    assert pair.readers[0].hear(7).state == "off"


def test_a_clock_that_began_anew_holds_nobody_up(pair: Pair) -> None:
    pair.readers[0].ask(7)
    pair.time.now_s = 5.0
    assert pair.readers[0].ask(8).state == "opening"


def test_the_files_are_for_the_server_alone(pair: Pair, tmp_path: Path) -> None:
    pair.readers[0].ask(7)
    wait_until(lambda: pair.puppets[0].runs)
    pair.puppets[0].tell(Heard("answering", "", 7, 1000.0))
    assert (tmp_path / "adapter").stat().st_mode & 0o077 == 0


def hold(path: str, held: multiprocessing.synchronize.Event, go: multiprocessing.synchronize.Event) -> None:
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(handle, fcntl.LOCK_EX)
    held.set()
    go.wait(30)


def test_a_process_that_is_killed_leaves_the_adapter_free(pair: Pair, tmp_path: Path) -> None:
    folder = tmp_path / "adapter"
    folder.mkdir()
    apart = multiprocessing.get_context("spawn")
    held, go = apart.Event(), apart.Event()
    other = apart.Process(target=hold, args=(str(folder / "reader.lock"), held, go))
    other.start()
    try:
        assert held.wait(30)
        pair.readers[0].ask(7)
        assert pair.puppets[0].runs == 0
    finally:
        other.kill()
        other.join()
    pair.readers[0].ask(7)
    wait_until(lambda: pair.puppets[0].runs)
