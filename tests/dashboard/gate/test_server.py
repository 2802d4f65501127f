"""The server itself: TLS, what a proxy in front says, clients that are slow, cards beside slow pages.

certificate.pem and key.pem are for these tests only: of localhost, signed by themselves, known to everybody.
"""

import http.client
import socket
import ssl
import threading
import time
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from dashboard.gate import server as served
from dashboard.gate.network import Network
from dashboard.gate.server import CertificateProblem, Server, tls

HERE = Path(__file__).parent
CERTIFICATE, KEY = HERE / "certificate.pem", HERE / "key.pem"
LARGE = b"0123456789abcdef" * 40_000


def echo(environ, start_response):
    """Says how it was asked, and sends back what it was given; /slow waits until it is let go."""
    if environ["PATH_INFO"] == "/slow":
        LET_GO.wait(30)
    body = environ["wsgi.input"].read()
    told = f"{environ['wsgi.url_scheme']} {environ['HTTP_HOST']} {environ['REMOTE_ADDR']}\n".encode()
    answer = LARGE if environ["PATH_INFO"] == "/large" else told + body
    start_response("200 OK", [("Content-Length", str(len(answer))), ("Content-Type", "text/plain")])
    return [answer]


LET_GO = threading.Event()


@contextmanager
def serving(**how):
    made = Server(echo, host="127.0.0.1", port=0, **how)
    made.adj.cleanup_interval = 0.1
    made.adj.asyncore_loop_timeout = 0.1
    thread = threading.Thread(target=made.run, daemon=True)
    thread.start()
    try:
        yield made
    finally:
        LET_GO.set()
        made.task_dispatcher.shutdown(timeout=1)
        made.quick.shutdown(timeout=1)
        for channel in list(made.active_channels.values()):
            channel.will_close = True
        made.pull_trigger()
        made.asyncore.close_all(made._map)
        thread.join(5)
        LET_GO.clear()


def trusting():
    return ssl.create_default_context(cafile=str(CERTIFICATE))


def ask(port, path="/", body=b"", *, secure=True, headers=None, connection=None):
    made = connection or (
        http.client.HTTPSConnection("localhost", port, context=trusting(), timeout=20)
        if secure
        else http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    )
    try:
        made.request("POST" if body else "GET", path, body, headers or {})
        return made.getresponse().read()
    finally:
        if connection is None:
            made.close()


@pytest.fixture(scope="module")
def secure():
    with serving(context=tls(CERTIFICATE, KEY), network=True) as made:
        yield made


def test_over_tls_what_is_sent_comes_back_whole_by_one_connection_and_by_many(secure):
    port = secure.effective_port
    kept = http.client.HTTPSConnection("localhost", port, context=trusting(), timeout=20)
    for size in (1, 16_384, 16_385, 60_000):
        assert ask(port, "/", b"x" * size, connection=kept).split(b"\n", 1)[1] == b"x" * size
    assert ask(port, "/large", connection=kept) == LARGE
    kept.close()
    came = []
    threads = [threading.Thread(target=lambda: came.append(ask(port, "/large"))) for _ in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join(30)
    assert came == [LARGE] * 8
    assert ask(port).startswith(b"https localhost:")


def test_without_tls_or_with_an_old_one_nothing_is_answered(secure):
    with pytest.raises((http.client.HTTPException, OSError)):
        ask(secure.effective_port, secure=False)
    old = trusting()
    old.minimum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises(OSError), socket.create_connection(("127.0.0.1", secure.effective_port), 20) as plain:
        old.wrap_socket(plain, server_hostname="localhost")
    assert ask(secure.effective_port).startswith(b"https")


def test_clients_that_greet_and_say_nothing_hold_nobody_up(secure):
    held = [socket.create_connection(("127.0.0.1", secure.effective_port)) for _ in range(150)]
    for one in held[:50]:
        one.send(b"\x16\x03\x01")
    assert ask(secure.effective_port).startswith(b"https")
    for one in held:
        one.close()


def test_whoever_takes_for_ever_to_say_what_is_wanted_is_cut(monkeypatch):
    monkeypatch.setattr(served, "TO_SAY", 0.3)
    with serving(network=True) as made, socket.create_connection(("127.0.0.1", made.effective_port), 20) as slow:
        slow.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n")
        cut = False
        for _ in range(100):
            try:
                slow.sendall(b"X: y\r\n")  # a line now and then: never silent, never done
                slow.settimeout(0.1)
                cut = slow.recv(10) == b""
            except TimeoutError:
                continue
            except ConnectionError:  # cut while our line was on its way
                cut = True
            if cut:
                break
        assert cut
        assert ask(made.effective_port, secure=False).startswith(b"http ")


def test_who_has_not_signed_in_sends_no_large_thing_on_a_network():
    with serving(network=True) as made:
        with pytest.raises((http.client.HTTPException, OSError)):
            ask(made.effective_port, "/", b"x" * 4_000_000, secure=False)
        signed = {"Cookie": "truerun=abc"}
        assert len(ask(made.effective_port, "/", b"x" * 400_000, secure=False, headers=signed)) > 400_000
        with suppress(http.client.HTTPException, OSError):
            told = ask(made.effective_port, "/", b"x", secure=False, headers=signed | {"Content-Length": "90000000"})
            assert b"Too Large" in told


def test_a_card_is_answered_while_every_thread_for_pages_is_taken():
    with serving() as made:
        slow = [threading.Thread(target=ask, args=(made.effective_port, "/slow"), kwargs={"secure": False})
                for _ in range(served.THREADS + 4)]  # fmt: skip
        for each in slow:
            each.start()
        until = time.monotonic() + 20
        while len(made.active_channels) < len(slow) and time.monotonic() < until:
            time.sleep(0.05)
        assert ask(made.effective_port, "/card/judge", secure=False).startswith(b"http ")
        LET_GO.set()
        for each in slow:
            each.join(20)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"trusted_proxy": "127.0.0.1"}, b"https shop.example 10.0.0.7"),
        ({"trusted_proxy": "192.0.2.1"}, b"http 127.0.0.1"),
        ({}, b"http 127.0.0.1"),
    ],
)
def test_what_a_proxy_says_of_who_asks_is_taken_from_the_one_that_was_named(how, said):
    from dashboard.app import FORWARDED

    more = {"trusted_proxy_headers": FORWARDED, "clear_untrusted_proxy_headers": True} if how else {}
    headers = {"X-Forwarded-For": "10.0.0.7", "X-Forwarded-Proto": "https", "X-Forwarded-Host": "shop.example"}
    with serving(network=True, **how, **more) as made:
        assert ask(made.effective_port, secure=False, headers=headers).startswith(said)


def test_files_that_are_no_certificate_are_one_line(tmp_path):
    (tmp_path / "x.pem").write_text("no certificate")
    for pair in ((tmp_path / "none.pem", KEY), (tmp_path / "x.pem", KEY), (CERTIFICATE, tmp_path / "x.pem")):
        with pytest.raises(CertificateProblem) as problem:
            tls(*pair)
        assert "\n" not in str(problem.value)


def test_behind_a_proxy_on_this_machine_nobody_else_reaches_the_server():
    assert Network(proxy="127.0.0.1").listens_on == "127.0.0.1"
    assert Network(proxy="10.0.0.2").listens_on == Network().listens_on == "0.0.0.0"
