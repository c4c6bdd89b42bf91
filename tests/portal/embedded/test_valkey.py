"""The embedded Valkey as a process: closed, and keeping what it was given."""

import os
import signal

import pytest
import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import command_line
from portal.embedded.valkey import Valkey

pytestmark = pytest.mark.stack


@pytest.fixture
def server(folder):
    valkey = Valkey(folder / "valkey")
    valkey.start()
    yield valkey
    valkey.stop()


@pytest.fixture
def client(server):
    with redis.Redis.from_url(server.cache_url) as connected:
        yield connected


def test_it_answers_only_with_the_password(server, client):
    assert client.ping()
    with (
        redis.Redis(
            unix_socket_path=str(server.socket), retry=Retry(NoBackoff(), 0)
        ) as stranger,
        pytest.raises(redis.AuthenticationError),
    ):
        stranger.ping()


def test_it_listens_on_a_socket_in_a_closed_folder_and_nowhere_else(server, client):
    assert client.config_get("port") == {"port": "0"}
    assert server.socket.parent.stat().st_mode & 0o777 == 0o700
    assert server.socket.parent.stat().st_uid == os.geteuid()


def test_a_full_memory_refuses_instead_of_dropping(client):
    assert client.config_get("maxmemory-policy") == {"maxmemory-policy": "noeviction"}


def test_the_password_stands_on_no_command_line_and_in_no_file(server, folder):
    password = server.broker_url.split(":")[2].split("@")[0]

    assert password not in " ".join(command_line(server.process.pid))
    for file in folder.rglob("*"):
        assert not file.is_file() or password.encode() not in file.read_bytes()


def test_what_was_queued_survives_kill_9(server, client):
    client.rpush("queue", "message")
    os.kill(server.process.pid, signal.SIGKILL)
    server.process.wait()

    server.start()

    with redis.Redis.from_url(server.cache_url) as again:
        assert again.lrange("queue", 0, -1) == [b"message"]


def test_a_server_that_cannot_start_says_what_its_log_says(server, folder):
    server.stop()
    base = next((folder / "valkey" / "appendonlydir").glob("*.manifest"))
    base.write_text("nonsense\n")

    with pytest.raises(EmbeddedError, match="Valkey does not start"):
        server.start()
