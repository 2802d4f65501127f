"""An object store in a process of its own (the tables' library lets no other thread run while it waits), which speaks
as much of the common protocol (list, get, put, delete over HTTP) as that library asks for; whoever signs with another
key is refused.
"""

import json
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import md5
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, unquote, urlsplit
from urllib.request import Request, urlopen
from xml.sax.saxutils import escape, unescape

KEY = "bench-key"
EVERYTHING = "everything.json"


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    held: dict[str, bytes]
    lock: threading.Lock

    def log_message(self, *_: object) -> None:
        """Says nothing."""

    def _answer(self, code: int, body: bytes = b"", head: bool = False, **headers: str) -> None:
        self.send_response(code)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        if not head:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if not head:
            self.wfile.write(body)

    def _asked(self) -> tuple[str, dict[str, list[str]]] | None:
        if f"Credential={KEY}/" not in self.headers.get("Authorization", ""):
            self._answer(403, b"<Error><Code>InvalidAccessKeyId</Code></Error>")
            return None
        parts = urlsplit(self.path)
        return unquote(parts.path).lstrip("/").partition("/")[2], parse_qs(parts.query, keep_blank_values=True)

    def _one(self, head: bool) -> None:
        asked = self._asked()
        if asked is None:
            return
        name, query = asked
        if name == EVERYTHING:
            self._answer(200, json.dumps(sorted(self.held)).encode())
            return
        if "list-type" in query:
            self._list(query)
            return
        data = self.held.get(name)
        if data is None:
            self._answer(404, b"<Error><Code>NoSuchKey</Code></Error>", head=head)
            return
        about = {"ETag": _tag(data), "Last_Modified": "Mon, 01 Jun 2026 12:00:00 GMT"}
        span = self.headers.get("Range", "")
        if span and not head:
            first, _, last = span.removeprefix("bytes=").partition("-")
            start = int(first) if first else len(data) - int(last)
            end = int(last) if first and last else len(data) - 1
            part = data[start : end + 1]
            self._answer(206, part, Content_Range=f"bytes {start}-{start + len(part) - 1}/{len(data)}", **about)
        elif head:
            self._answer(200, head=True, Content_Length=str(len(data)), **about)
        else:
            self._answer(200, data, **about)

    def do_GET(self) -> None:
        self._one(head=False)

    def do_HEAD(self) -> None:
        self._one(head=True)

    def _list(self, query: dict[str, list[str]]) -> None:
        prefix = query.get("prefix", [""])[0]
        after = query.get("start-after", [""])[0]
        delimiter = query.get("delimiter", [""])[0]
        found, folders = [], set()
        for name in sorted(self.held):
            if not name.startswith(prefix) or name <= after:
                continue
            rest = name[len(prefix) :]
            if delimiter and delimiter in rest:
                folders.add(prefix + rest.split(delimiter)[0] + delimiter)
            else:
                data = self.held[name]
                found.append(
                    f"<Contents><Key>{escape(name)}</Key><LastModified>2026-06-01T12:00:00.000Z</LastModified>"
                    f"<ETag>{escape(_tag(data))}</ETag><Size>{len(data)}</Size></Contents>"
                )
        many = "".join(f"<CommonPrefixes><Prefix>{escape(one)}</Prefix></CommonPrefixes>" for one in sorted(folders))
        self._answer(200, f"<ListBucketResult>{''.join(found)}{many}</ListBucketResult>".encode())

    def do_PUT(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        asked = self._asked()
        if asked is None:
            return
        with self.lock:
            if self.headers.get("If-None-Match") == "*" and asked[0] in self.held:
                self._answer(412, b"<Error><Code>PreconditionFailed</Code></Error>")
                return
            self.held[asked[0]] = body
        self._answer(200, ETag=_tag(body))

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0))).decode()
        if self._asked() is not None:
            names = [unescape(name) for name in re.findall(r"<Key>(.*?)</Key>", body)]
            for name in names:
                self.held.pop(name, None)
            gone = "".join(f"<Deleted><Key>{escape(name)}</Key></Deleted>" for name in names)
            self._answer(200, f"<DeleteResult>{gone}</DeleteResult>".encode())

    def do_DELETE(self) -> None:
        asked = self._asked()
        if asked is not None:
            self.held.pop(asked[0], None)
            self._answer(204)


def _tag(data: bytes) -> str:
    return f'"{md5(data).hexdigest()}"'


def serve() -> None:
    """Say at which port it listens, and serve until ended."""
    handler = type("Handler", (_Handler,), {"held": {}, "lock": threading.Lock()})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    print(server.server_port, flush=True)  # noqa: T201
    server.serve_forever()


@contextmanager
def object_store() -> Iterator[tuple[Callable[[], list[str]], dict[str, str]]]:
    """The names that the store holds now, and the options that reach it."""
    asked = [sys.executable, "-c", "from tests.ingest.store.object_store import serve; serve()"]
    with subprocess.Popen(asked, stdout=subprocess.PIPE, text=True) as running:
        try:
            port = int(running.stdout.readline()) if running.stdout else 0
            address = f"http://127.0.0.1:{port}"

            def names() -> list[str]:
                signed = Request(f"{address}/bench/{EVERYTHING}", headers={"Authorization": f"Credential={KEY}/"})
                with urlopen(signed) as answer:
                    return list(json.load(answer))

            options = {
                "aws_endpoint_url": address,
                "aws_allow_http": "true",
                "aws_access_key_id": KEY,
                "aws_secret_access_key": "of the bench",
                "aws_region": "eu-west-1",
            }
            yield names, options
        finally:
            running.terminate()
