"""Large files on their way from a browser: they come in pieces into the store's folder, and are loaded from there once
they are whole.

A piece says where it begins; one that comes twice changes nothing, so a browser whose line broke asks how much is here
and goes on. A file is held within the same bounds as at the command line, and what nobody went on with is taken away
after a day.
"""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Lock

import flask
from dash import Dash
from werkzeug.exceptions import BadRequest, NotFound, RequestEntityTooLarge, TooManyRequests

from dashboard.desk import desk as counter
from dashboard.desk.jobs import MOST
from ingest.store.problems import StoreProblem
from ingest.verbs.from_originals import ARRIVING

PIECE = 4_000_000  # bytes of a piece, at most
AT_ONCE = 4  # files on their way
WHOLE = "whole"  # what a file is called once all of it has come
KEY = re.compile(r"[0-9a-f]{32}")
LEFT_BEHIND = timedelta(days=1)
PATH = "/bring/<key>"


class Arriving:
    """The files on their way to one shop."""

    def __init__(self, folder: Path) -> None:
        self.root, self._lock = folder / ARRIVING, Lock()

    def here(self, key: str) -> int:
        """How many bytes of a file have come."""
        path = self._file(key)
        return path.stat().st_size if path.exists() else 0

    def take(self, key: str, at: int, size: int, piece: bytes) -> int:
        """Put one piece where it belongs; how many bytes have come now.

        BadRequest where it does not fit what is here, RequestEntityTooLarge beyond the bounds, TooManyRequests where
        too many files are on their way.
        """
        if size > MOST or len(piece) > PIECE:
            raise RequestEntityTooLarge
        with self._lock:
            path, have = self._file(key), self.here(key)
            if at > have or at + len(piece) > size:
                raise BadRequest(f"This piece begins at byte {at}; {have} have come, of {size}.")
            try:
                if not path.parent.exists():
                    self._make_room(path.parent)
                if at + len(piece) > have:
                    with path.open("r+b" if path.exists() else "xb") as file:
                        file.seek(at)
                        file.write(piece)
            except OSError as fault:
                why = fault.strerror or fault
                raise StoreProblem(f"A piece could not be written ({why}); is the disk full?") from None
            return self.here(key)

    def whole(self, key: str, size: int) -> Path:
        """The file, once all of it has come; BadRequest before. No further piece reaches it."""
        with self._lock:
            if not size or self.here(key) != size:
                raise BadRequest(f"{self.here(key)} of {size} bytes have come.")
            path = self._file(key)
            return path.replace(path.with_name(WHOLE))

    def drop(self, key: str) -> None:
        """A file that is not wanted any more."""
        shutil.rmtree(self._file(key).parent, ignore_errors=True)

    def _file(self, key: str) -> Path:
        if not KEY.fullmatch(key):
            raise NotFound
        return self.root / key / "file"

    def _make_room(self, place: Path) -> None:
        now = datetime.now(UTC)
        for other in self.root.iterdir() if self.root.is_dir() else ():
            if now - datetime.fromtimestamp(other.stat().st_mtime, UTC) > LEFT_BEHIND:
                shutil.rmtree(other, ignore_errors=True)
        if self.root.is_dir() and sum(1 for _ in self.root.iterdir()) >= AT_ONCE:
            raise TooManyRequests(f"{AT_ONCE} files are on their way already; wait for one of them.")
        place.mkdir(parents=True)


def connect(app: Dash, desk: counter.Desk) -> None:
    """The door: POST a piece, POST without one to be told how much is here or to load it, DELETE."""
    coming = Arriving(desk.folder)

    def bring(key: str) -> flask.Response:
        given = flask.request.args
        if flask.request.method == "DELETE":
            coming.drop(key)
            return flask.jsonify(have=0)
        if not desk.has_shop:
            raise BadRequest("There is no shop yet: a first sheet is looked at before it is loaded.")
        at, size = _number(given.get("at")), _number(given.get("size"))
        if (flask.request.content_length or 0) > PIECE:
            raise RequestEntityTooLarge
        if "load" in given:
            name = _name(given.get("name", ""))
            desk.jobs.load_arrived(name, coming.whole(key, size))
            return flask.jsonify(have=size)
        piece = flask.request.get_data(cache=False)
        return flask.jsonify(have=coming.take(key, at, size, piece) if piece else coming.here(key))

    app.server.add_url_rule(PATH, "bring", bring, methods=["POST", "DELETE"])


def _number(text: str | None) -> int:
    if text is None or not (text.isascii() and text.isdigit() and len(text) < 16):
        raise BadRequest("A piece says where it begins and how large its file is.")
    return int(text)


def _name(text: str) -> str:
    """The name of a file as a person knows it."""
    name = text.replace("\\", "/").rpartition("/")[2].strip()
    if not name or len(name) > 255 or not name.isprintable():
        raise BadRequest("A file comes with its name.")
    return name
