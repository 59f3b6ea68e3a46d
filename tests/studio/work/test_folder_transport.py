"""The embedded broker: no message is torn, lost or taken twice while many write and read it."""

import shutil
import threading
from queue import Empty

import pytest
from kombu import Connection, Consumer, Queue
from kombu.transport import get_transport_cls

from studio.celery import app
from studio.work import broker
from studio.work.folder_transport import Transport
from tests.threads import at_once

WRITERS, READERS, EACH = 4, 4, 100


@pytest.fixture
def connect(tmp_path):
    options = broker.transport_options(broker.EMBEDDED, folder=tmp_path)
    opened = []

    def connect():
        connection = Connection(broker.EMBEDDED, transport_options=options)
        opened.append(connection)
        return connection.channel()

    yield connect
    for connection in opened:
        connection.release()


def test_the_studio_uses_it():
    assert get_transport_cls("filesystem") is Transport
    with app.connection_for_write() as connection:
        assert isinstance(connection.transport, Transport)


def test_every_message_is_taken_whole_and_once(connect):
    written, taken = threading.Event(), []

    def write(number):
        channel = connect()
        for each in range(EACH):
            channel._put("studio", {"sent": f"{number}-{each}", "filling": "x" * 2_000})

    def read(_):
        channel = connect()
        while True:
            over = written.is_set()
            try:
                taken.append(channel._get("studio")["sent"])
            except Empty:
                if over:
                    return None

    def work(job):
        return job[0](job[1])

    def write_all(_):
        try:
            return [answer for answer in at_once(write, range(WRITERS)) if answer]
        finally:
            written.set()

    jobs = [(write_all, 0), *((read, number) for number in range(READERS))]
    answers = at_once(work, jobs)
    assert answers == [[], *[None] * READERS]
    assert sorted(taken) == sorted(f"{w}-{e}" for w in range(WRITERS) for e in range(EACH))


def test_messages_come_in_the_order_they_were_sent(connect):
    channel = connect()
    for number in range(20):
        channel._put("studio", number)
    assert [channel._get("studio") for _ in range(20)] == list(range(20))


def test_a_queue_sees_only_its_own(connect):
    channel = connect()
    channel._put("other", 1)
    with pytest.raises(Empty):
        channel._get("studio")
    assert (channel._size("other"), channel._size("studio")) == (1, 0)


def test_queues_bound_at_once_are_all_kept(connect):
    channels = [connect() for _ in range(8)]

    def bind(number):
        return channels[number]._queue_bind("all", "", "", f"queue{number}")

    assert at_once(bind, range(8)) == [None] * 8
    assert {row.queue for row in channels[0].get_table("all")} == {f"queue{n}" for n in range(8)}


def test_folders_that_are_taken_away_are_made_again(connect, tmp_path):
    """A worker that reads and whoever sends go on; what was bound before still finds its queue."""
    channel = connect()
    channel.exchange_declare("again", type="direct")
    channel.queue_declare("studio")
    channel.queue_bind("studio", exchange="again", routing_key="studio")
    bound = channel.get_table("again")
    assert bound
    for folder in [each for each in tmp_path.iterdir() if each.is_dir()]:
        shutil.rmtree(folder)
    with pytest.raises(Empty):
        channel._get("studio")
    assert channel.get_table("again") == bound
    channel._put("studio", {"sent": "again"})
    assert channel._get("studio") == {"sent": "again"}


def test_who_waits_looks_again_before_each_message_so_that_a_stop_is_noticed(tmp_path):
    looks = []

    class Counted(Transport):
        class Channel(Transport.Channel):
            def _get(self, queue, timeout=None):
                looks.append(queue)
                return super()._get(queue, timeout)

    options = broker.transport_options(broker.EMBEDDED, folder=tmp_path)
    with Connection(transport=Counted, transport_options=options) as connection:
        with Consumer(connection, [Queue("studio")]), pytest.raises(TimeoutError):
            connection.drain_events(timeout=60)
        assert 0 < len(looks) <= 2
