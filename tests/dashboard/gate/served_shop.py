"""An invented shop on a network: four people who may sign in, and a browser for each that has."""

from pathlib import Path

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from dashboard.gate.network import Network
from ingest.access import people
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop

BASE = "http://shop.example:8050"
ORIGIN = {"Origin": BASE}
WORDS = "four words of mine"
TECHS = """
[[tech]]
key = "T01"
name = "Mary Quill"

[[tech]]
key = "T02"
name = "Jo Fenn"
"""
PEOPLE = {"manager": "Ana", "trainer": "Tom", "bench": "Bea", "guest": "Gus"}
STAGES = ("neck_straightening", "play_test", "final_inspection", "packing")
MANY = [
    row(
        f"A{n:03d}",
        tech=f"T0{n % 2 + 1}",
        stage=stage,
        start=f"{day} {8 + place:02d}:00",
        finish=f"{day} {8 + place:02d}:20",
    )
    for n in range(40)
    for day in [f"2026-05-{n % 25 + 1:02d}"]
    for place, stage in enumerate(STAGES)
]


def made(folder: Path, *, secure: bool = False):
    """(app, folder) of the shop, with Ana the manager, Tom the trainer, Bea at the bench as T01, Gus the guest."""
    shop(folder, TECHS)
    load(folder, [log(folder, "a.csv", MANY)], now=NOW)
    for role, name in PEOPLE.items():
        people.add(folder, name, role, WORDS, tech="T01" if role == "bench" else "", now=NOW)
    return make_app(Desk(folder), Network(frozenset({"shop.example"}), secure=secure)), folder


def browser(app, role: str = ""):
    """A browser that somebody in a role has signed in with; '': nobody."""
    client = app.server.test_client()
    if role:
        answer = sign_in(client, PEOPLE[role])
        assert answer.status_code == 303, answer.text
    return client


def sign_in(client, name: str, password: str = WORDS, *, to: str = "", **more):
    """What the form of the first page sends."""
    form = {"name": name, "password": password, "to": to}
    return client.post("/sign-in", base_url=BASE, data=form, headers=ORIGIN, **more)
