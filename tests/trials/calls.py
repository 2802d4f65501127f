"""Which test calls which function of ours, and how long each takes: what a fault in a function may be seen by.

A function is named by its file and first line; what a fixture calls counts for every test that asks for it. Tests that
fail as they stand, those of the demo shop and those that only start other processes are none that could see a fault.
"""

import json
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import CodeType, FrameType

import pytest

Function = tuple[str, int]  # file from the root on, first line (of a decorated one its first decorator's)


class Calls:
    """A pytest plugin: runs what was collected under a trace, and writes who called what, and in how long, as JSON."""

    def __init__(self, root: Path, folders: tuple[str, ...], into: Path) -> None:
        self.root, self.into = f"{root}/", into
        self.ours = tuple(f"{root}/{folder}/" for folder in folders)
        self.known: dict[CodeType, bool] = {}
        self.now: list[set[Function]] = [set()]
        self.fixtures: dict[tuple[str, str], set[Function]] = {}
        self.failed = False

    def _trace(self, frame: FrameType, _event: str, _arg: object) -> None:
        code = frame.f_code
        if (mine := self.known.get(code)) is None:
            mine = self.known[code] = code.co_filename.startswith(self.ours)
        if mine:
            self.now[-1].add((code.co_filename.removeprefix(self.root), code.co_firstlineno))

    @contextmanager
    def _traced(self) -> Iterator[None]:
        threading.settrace(self._trace)
        sys.settrace(self._trace)
        try:
            yield
        finally:
            sys.settrace(None)
            threading.settrace(None)

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> Iterator[None]:
        """What a fixture calls, for all who ask for it."""
        self.now.append(set())
        try:
            return (yield)
        finally:
            self.fixtures.setdefault((fixturedef.baseid, fixturedef.argname), set()).update(self.now.pop())

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test that fails as it stands sees nothing."""
        self.failed |= report.failed

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Every test but those of the demo shop, one after the other."""
        items = [item for item in session.items if not any("demo" in name for name in item.fixturenames)]
        held = {}
        for item, following in zip(items, [*items[1:], None], strict=True):
            own: set[Function] = set()
            self.now[:], self.failed, began = [own], False, time.process_time()
            with self._traced():
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if not self.failed:
                every = [defs[-1] for defs in item._fixtureinfo.name2fixturedefs.values() if defs]
                asks = [(one.baseid, one.argname) for one in every]
                held[item.nodeid] = (time.process_time() - began, own, asks)
        told = {
            name: [seconds, sorted(own.union(*(self.fixtures.get(one, set()) for one in asks)))]
            for name, (seconds, own, asks) in held.items()
        }
        self.into.write_text(json.dumps(told), encoding="utf-8")
        return True


class Callers:
    """Who calls a function, the quickest first."""

    def __init__(self, kept: Path) -> None:
        told = json.loads(kept.read_text(encoding="utf-8"))
        self.seconds = {name: float(seconds) for name, (seconds, _) in told.items()}
        self.of: dict[Function, list[str]] = {}
        self.of_file: dict[str, list[str]] = {}
        for name in sorted(told, key=lambda name: self.seconds[name]):
            for file, line in told[name][1]:
                self.of.setdefault((file, line), []).append(name)
                if self.of_file.setdefault(file, [""])[-1] != name:
                    self.of_file[file].append(name)

    def quickest(self, file: str, line: int | None, seconds: float) -> list[str]:
        """Tests that call the function (None: any of the file), as many as end within so many seconds."""
        found = self.of.get((file, line), []) if line is not None else self.of_file.get(file, [""])[1:]
        out, spent = [], 0.0
        for name in found:
            spent += self.seconds[name]
            if spent > seconds:
                break
            out.append(name)
        return out
