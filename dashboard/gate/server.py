"""The server: waitress, with TLS where a certificate is given, patience that ends, and room kept for cards.

waitress has no TLS of its own. Here each connection is wrapped by Python's ssl as it is accepted, so that its loop, its
limits and its clock hold for encrypted connections from their first byte; nothing stands between, and the address of
whoever asks stays known. Cards and what any page loads first go to threads of their own: one slow page starves no card.
"""

from __future__ import annotations

import ssl
import time
from pathlib import Path
from threading import Lock
from typing import Any

from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

from ingest.terms.problems import Problem

THREADS, CARD_THREADS = 8, 4
TO_SAY, LEAST = 20.0, 2_000  # seconds to say what is asked; from then on bytes a second of what is sent with it
UNSIGNED = 65_536  # bytes that somebody without a cookie of ours may send
PATIENCE = {  # with clients that are slow or say nothing: they are held, but nobody waits for them
    "connection_limit": 2_000,
    "channel_timeout": 30,  # seconds without a byte
    "cleanup_interval": 5,
    "asyncore_use_poll": True,  # select() ends at 1,024 sockets
    "max_request_header_size": 65_536,
    "max_request_body_size": 80_000_000,  # a dropped file of 50 MB as text
    "outbuf_high_watermark": 1 << 30,  # what a slow reader has not taken waits on the disk, not in a thread
    "recv_bytes": 65_536,  # a whole TLS record: nothing that was read waits inside ssl
}


class CertificateProblem(Problem):
    """A certificate or key that cannot be used, in one line."""


def tls(certificate: Path, key: Path) -> ssl.SSLContext:
    """What TLS is spoken with; CertificateProblem where the files do not do."""
    for path in (certificate, key):
        if not path.is_file():
            raise CertificateProblem(f"{path} is not there; wanted a file in PEM form")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(certificate, key, password=_no_password)
    except (OSError, ValueError) as fault:
        why = getattr(fault, "reason", None) or str(fault)
        raise CertificateProblem(
            f"{certificate} and {key} are no certificate with its key ({str(why).replace('_', ' ').lower()}); wanted "
            "both in PEM form, the key without a password"
        ) from None
    return context


def _no_password() -> str:
    raise ValueError("the key has a password")


class Held(HTTPChannel):  # type: ignore[misc]
    """A connection whose client has so long to say what it wants."""

    begun = 0.0  # when the request that is still coming began
    came = 0  # bytes of it

    def received(self, data: bytes) -> bool:
        """Take in what came, and cut whoever sends more than it may before it has signed in."""
        if self.request is None:
            self.begun, self.came = time.time(), 0
        self.came += len(data)
        done = bool(super().received(data))
        coming = self.request
        large = coming is not None and coming.headers_finished and self.came > UNSIGNED
        if large and self.server.network and "truerun=" not in coming.headers.get("COOKIE", ""):
            self.will_close = True
        return done

    def too_slow(self, now: float) -> bool:
        """Has it had the time that anybody needs for what it is sending?"""
        late = now - self.begun - TO_SAY
        return self.request is not None and late > 0 and self.came < LEAST * late


class Secure(Held):
    """A connection that speaks TLS."""

    def __init__(self, server: Any, sock: Any, addr: Any, adj: Any, map: Any = None) -> None:
        self._tls, self._open, self._wants_to_write, broken = Lock(), False, False, False
        try:
            sock = server.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        except (OSError, ValueError):  # gone before it was greeted
            broken = True
        super().__init__(server, sock, addr, adj, map=map)
        self.will_close = self.will_close or broken

    def writable(self) -> bool:
        """As waitress asks; in the greeting also where ssl has something to say."""
        return bool(self._wants_to_write or super().writable())

    def handle_write(self) -> None:
        """Go on with the greeting, or send what waits."""
        if self._open or self.will_close:
            super().handle_write()
        else:
            self._greet()

    def handle_read(self) -> None:
        """Go on with the greeting, or take in what came."""
        if not self._open and not self._greet():
            return
        try:
            with self._tls:
                data = self.socket.recv(self.adj.recv_bytes)
        except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return
        except (OSError, ValueError):
            self.handle_close()
            return
        if data:
            self.last_activity = time.time()
            self.received(data)
        else:
            self.handle_close()

    def send(self, data: bytes, do_close: bool = True) -> int:
        """Send what may be sent now; how many bytes."""
        try:
            with self._tls:
                return int(self.socket.send(data))
        except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return 0
        except (OSError, ValueError):
            if do_close:
                self.handle_close()
            return 0

    def _greet(self) -> bool:
        """Agree on keys; have we?"""
        try:
            with self._tls:
                self.socket.do_handshake()
        except ssl.SSLWantReadError:
            self._wants_to_write = False
        except ssl.SSLWantWriteError:
            self._wants_to_write = True
        except (OSError, ValueError):
            self.handle_close()
        else:
            self._open, self._wants_to_write = True, False
        return self._open


class Server(TcpWSGIServer):  # type: ignore[misc]
    """waitress with what stands above."""

    channel_class = Held

    def __init__(self, application: Any, *, context: ssl.SSLContext | None = None, network: bool = False, **how: Any):
        self.context, self.network = context, network
        self.channel_class = Secure if context else Held
        self.quick = ThreadedTaskDispatcher()
        self.quick.set_thread_count(CARD_THREADS)
        scheme = "https" if context else "http"
        super().__init__(application, threads=THREADS, ident="truerun", url_scheme=scheme, **PATIENCE, **how)

    def add_task(self, channel: Any) -> None:
        """Hand a request to the threads for it."""
        path = channel.requests[0].path if channel.requests else ""
        (self.quick if path.startswith(("/card", "/assets/")) else self.task_dispatcher).add_task(channel)

    def maintenance(self, now: float) -> None:
        """Cut whoever said nothing for a while, and whoever takes for ever to say it."""
        super().maintenance(now)
        for channel in list(self.active_channels.values()):
            if channel.too_slow(now):
                channel.will_close = True

    def close(self) -> None:
        """Stop."""
        self.quick.shutdown(timeout=1)
        super().close()
