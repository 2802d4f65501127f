"""Requests with parameters of wrong kind and size against a server on the network, as each role and as nobody.

`python -m tests.trials.network_attack [REQUESTS]` (20,000 by default; seed fixed before the first run). Every address
of the program's own registry and every callback is asked, with names, texts, numbers, lists and bytes no page sends.
Counted: answers of 500 and above, answers that tell of the machine (a traceback, a path, a library), and answers that
show a role what is closed to it. All three must be 0.
"""

import json
import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

from dashboard import faults
from dashboard.gate import roles
from tests.dashboard.gate.served_shop import BASE, browser, made

SEED = 20261129
REQUESTS = 20_000
TELLS = ("Traceback", 'File "', "site-packages", "werkzeug", "sqlite3", "polars", "/tmp/", "Exception")
SECRET = ("Mary Quill", "A001")
ODD = (
    "", " ", "\x00", "../../etc/passwd", "..%2f..%2fshop.toml", "'; DROP TABLE people;--", "<script>alert(1)</script>",
    "{{7*7}}", "${7*7}", "%s%s%n", "\ud7ff\uffff", "²", "٣", "1e309", "-1", "9" * 400, "nan", "2026-13-45",
    "0001-01-01", "a" * 3_000, "T01,T02", "null", "[]", "{}", "true", "\r\nSet-Cookie: x=1", "A001", "play_test",
)  # fmt: skip
VALUES = (
    None,
    True,
    0,
    -1,
    10**30,
    1.5,
    float("1e308"),
    "",
    "x",
    "²" * 50,
    [],
    [[]],
    [None],
    {},
    {"a": {}},
    "x" * 30_000,
)
METHODS = ("GET", "POST", "PUT", "DELETE", "PATCH", "HEAD", "OPTIONS", "TRACE")
NAMES = ("tech", "week", "serial", "stage", "model", "from", "to", "open", "page", "log", "line", "column", "q", "key")
FIELDS = (
    "stage", "serial", "model", "characteristic", "position", "text", "gauge", "bench", "card", "outcome", "values",
    "faults", "sent_to", "opened_at", "waited", "took", "clock", "waits", "tech", "note", "fault_at",
)  # fmt: skip


def say(*told: object) -> None:
    """One line, at once."""
    sys.stdout.write(" ".join(map(str, told)) + "\n")
    sys.stdout.flush()


def paths(app: object, chance: random.Random) -> list[str]:
    """Every address there is, holes filled with something odd."""
    out = [*roles.PAGES, *(f"/save/{name}{more}" for name in roles.SAVED for more in ("", ".xlsx", ".exe"))]
    for rule in app.server.url_map.iter_rules():  # type: ignore[attr-defined]
        path = rule.rule
        while "<" in path:
            head, _, rest = path.partition("<")
            path = (
                head
                + chance.choice(("x", "card.js", "0" * 32, "tokens.css", "..", "%00", "é"))
                + rest.partition(">")[2]
            )
        out.append(path)
    return out


def callback(app: object, chance: random.Random) -> dict[str, object]:
    """A callback's request, some of it as a page sends it."""
    output = chance.choice(list(app.callback_map))  # type: ignore[attr-defined]
    known = app.callback_map[output]  # type: ignore[attr-defined]

    def one(declared: dict[str, str]) -> object:
        if chance.random() < 0.1:
            return chance.choice(VALUES)
        id = json.loads(declared["id"]) if declared["id"].startswith("{") else declared["id"]
        value = chance.choice((*VALUES, *ODD, "/", "/drift", "/bench", "?tech=T01"))
        single = {"id": id, "property": declared["property"], "value": value}
        return [] if '["ALL' in declared["id"] and chance.random() < 0.8 else single

    told = output.strip(".").split("...")
    outputs = [{"id": each.rpartition(".")[0], "property": each.rpartition(".")[2].split("@")[0]} for each in told]
    body = {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": [one(each) for each in known["inputs"]],
        "state": [one(each) for each in known["state"]],
        "changedPropIds": [],
    }
    if chance.random() < 0.2:
        body[chance.choice(list(body))] = chance.choice(VALUES)
    return body


def request(app: object, every: list[str], chance: random.Random) -> dict[str, object]:
    """One request, as werkzeug's client takes it."""
    kind = chance.random()
    origin = {} if chance.random() < 0.1 else {"Origin": BASE}
    if kind < 0.4:
        return {"path": "/_dash-update-component", "method": "POST", "json": callback(app, chance), "headers": origin}
    path = chance.choice(every)
    query = {chance.choice(NAMES): chance.choice(ODD) for _ in range(chance.randrange(4))}
    method = chance.choice(METHODS) if chance.random() < 0.3 else "POST" if path.startswith("/card/") else "GET"
    how: dict[str, object] = {"path": path, "method": method, "headers": origin, "query_string": query}
    if method in ("POST", "PUT", "PATCH"):
        body = {chance.choice(FIELDS): chance.choice((*VALUES, *ODD)) for _ in range(chance.randrange(8))}
        shape = chance.random()
        if shape < 0.6:
            how["json"] = body if chance.random() < 0.9 else chance.choice(VALUES)
        elif shape < 0.8:
            how["data"] = {name: str(value) for name, value in body.items()}
        else:
            how["data"] = bytes(chance.randrange(256) for _ in range(chance.randrange(2_000)))
    return how


def run(requests: int = REQUESTS) -> Counter[str]:
    """What was answered, and the three counts."""
    chance, counts, shown = random.Random(SEED), Counter[str](), 0
    faults.loud = False
    with tempfile.TemporaryDirectory() as place:
        app, _ = made(Path(place) / "shop")
        app._setup_server()
        names = ("manager", "trainer", "bench", "guest", roles.NOBODY)
        clients = {name: browser(app, "" if name == roles.NOBODY else name) for name in names}
        every = paths(app, chance)
        for number in range(requests):
            role, how = chance.choice(names), request(app, every, chance)
            if how["path"] in ("/sign-out", "/me/elsewhere", "/me/password"):
                continue
            with clients[role].open(**how, base_url=BASE) as answer:
                text = answer.get_data(as_text=True) if answer.mimetype in ("text/html", "application/json") else ""
                counts[f"answered {answer.status_code}"] += 1
                bad = answer.status_code >= 500 and answer.status_code != 503
                tells = any(word in text for word in TELLS) and answer.status_code != 200
                said = str(how)  # what the request itself says is no secret, and its address stands in the page's head
                leaks = role in ("guest", roles.NOBODY) and any(word in text for word in SECRET if word not in said)
                counts["500"] += bad
                counts["told of the machine"] += tells
                counts["showed what is closed"] += leaks
                if (bad or tells or leaks) and shown < 20:
                    shown += 1
                    say(role, answer.status_code, str(how)[:400], text[:200].replace("\n", " "))
            if number % 1000 == 999:
                say(number + 1, dict(counts))
    return counts


if __name__ == "__main__":
    say(dict(run(int(sys.argv[1]) if len(sys.argv) > 1 else REQUESTS)))
