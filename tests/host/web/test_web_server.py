import contextlib
import http.client
import socket

import pytest
from flask import send_file

from host.errors import DeskError
from host.web.app import create_app
from host.web.reach import Reach
from host.web.rules import open_to_anyone
from host.web.server import PageServer


@pytest.fixture
def taken_port():
    with socket.create_server(("127.0.0.1", 0)) as other:
        yield other.getsockname()[1]


def test_a_taken_port_is_said_and_another_one_serves(desk, bench, taken_port):
    server = PageServer(create_app(desk), port=taken_port)
    port = server.start()
    try:
        assert port != taken_port
        assert str(taken_port) in server.port_words and str(port) in server.port_words
        assert str(port) in server.url
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        connection.request("GET", "/")
        answer = connection.getresponse()
        assert answer.status == 200
        assert b"bench-1" in answer.read()
        connection.close()
    finally:
        server.stop()


def test_an_address_that_is_not_of_this_machine_is_refused_in_words(desk):
    # 192.0.2.0/24 is set aside for documentation: no machine has it (RFC 5737).
    with pytest.raises(DeskError, match="127.0.0.1 always works"):
        PageServer(create_app(desk), reach=Reach(listen="192.0.2.1"), port=0)


def test_stopping_ends_open_streams_and_frees_the_port(desk, bench):
    server = PageServer(create_app(desk), port=0)
    port = server.start()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.request("GET", "/stations/bench-1/live")
    answer = connection.getresponse()
    assert answer.readline() == b"retry: 1000\n"
    server.stop()
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    with contextlib.suppress(http.client.IncompleteRead, ConnectionResetError):
        while answer.readline():
            pass
    connection.close()


def test_stopping_lets_go_of_a_file_that_nobody_reads_to_its_end(desk, tmp_path, until):
    large = tmp_path / "large.bin"
    large.write_bytes(bytes(20_000_000))  # more than a connection takes before anybody reads
    opened = []
    app = create_app(desk)

    @app.get("/large")
    @open_to_anyone
    def large_file():
        opened.append(large.open("rb"))
        return send_file(opened[-1], mimetype="application/octet-stream", etag=False)

    server = PageServer(app, port=0)
    port = server.start()
    with socket.create_connection(("127.0.0.1", port), timeout=10) as reader:
        reader.sendall(b"GET /large HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        until(lambda: opened and opened[0].tell() > 0, "the file is being sent")
        server.stop()
    assert opened[0].closed


def test_a_server_that_was_never_started_lets_its_port_go(desk):
    server = PageServer(create_app(desk), port=0)
    server.stop()
    with socket.create_server(("127.0.0.1", server.port)):
        pass
