"""Signing in and out, a tablet's code, one's own page, and who may sign in: plain documents that need no script."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from typing import Any

import flask
import jinja2

from dashboard import numbers
from dashboard.desk import signed
from dashboard.desk.desk import Desk
from dashboard.gate.network import Network
from dashboard.gate.tries import Tries
from ingest.access import people, sessions, tablets, trail
from ingest.access.people import AccessProblem
from ingest.terms.problems import Problem

PER_PERSON, PER_NAME, PER_ADDRESS = 5, 20, 30  # wrong tries in a quarter of an hour
LARGEST = 8_000  # bytes of a form
WRONG = "Name and password do not fit."
NO_CODE = "This code enrols nothing: it is mistyped, was used, or is older than a quarter of an hour."
DONE = {"password": "The password is changed; whatever else was open is signed out.",
        "elsewhere": "Signed out everywhere else."}  # fmt: skip


def cookie_name(network: Network) -> str:
    """The cookie's name; over TLS one that browsers take only from this very host."""
    return "__Host-truerun" if network.secure else "truerun"


def home(who: signed.Signed | None) -> str:
    """Where somebody begins."""
    return "/card" if who is not None and who.role == signed.BENCH else "/"


class Pages:
    """The documents of one shop's gate."""

    def __init__(self, desk: Desk, network: Network) -> None:
        self.desk, self.network, self.tries = desk, network, Tries()
        loader = jinja2.PackageLoader("dashboard.gate", "templates")
        self.templates = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined)
        self.templates.filters.update(clock=partial(_clock, desk), off=_off)

    def sign_in(self) -> flask.Response:
        """GET: the form. POST: sign in, or say in one line that it does not fit."""
        if flask.request.method == "GET":
            return self._form(to=flask.request.args.get("to", ""))
        form = _form()
        name, password, to = form.get("name", ""), form.get("password", ""), form.get("to", "")
        key, there = people.key_of(name)[:100], flask.request.remote_addr or ""
        limits = {f"{key} from {there}": PER_PERSON, f"name {key}": PER_NAME, f"from {there}": PER_ADDRESS}
        wait = self.tries.wait(limits)
        if wait:
            minutes = numbers.count(-(-wait // 60))
            said = f"Too many tries. Wait {minutes} minutes, or ask whoever sees to Truerun."
            return self._form(to=to, name=name, problem=said, status=429)
        found = people.signing_in(self.desk.folder, name, password, now=_now())
        if found is None:
            self.tries.wrong(*limits)
            trail.note(self.desk.folder, name[: people.LONGEST], "", "was refused", f"sign in from {there}", now=_now())
            return self._form(to=to, name=name, problem=WRONG, status=403)
        self.tries.right(f"{key} from {there}")
        self._end_open()
        token = sessions.begin(self.desk.folder, found.name, now=_now())
        trail.note(self.desk.folder, found.name, found.role, "signed in", f"from {there}", now=_now())
        own = to.startswith("/") and not to.startswith(("//", "/\\")) and to.isprintable()
        who = signed.Signed(found.name, found.role, found.tech)
        return self._begun(token, to if own and len(to) < 2_000 else home(who), None)

    def enrol(self) -> flask.Response:
        """A tablet takes the code from the manager's screen."""
        if flask.request.method == "GET":
            return self._page("enrol.html", "This tablet")
        there = flask.request.remote_addr or ""
        if self.tries.wait({f"code from {there}": PER_PERSON, "code": PER_ADDRESS}):
            return self._page(
                "enrol.html", "This tablet", problem="Too many tries. Wait a quarter of an hour.", status=429
            )
        found = tablets.enrol(self.desk.folder, _form().get("code", ""), now=_now())
        if found is None:
            self.tries.wrong(f"code from {there}", "code")
            return self._page("enrol.html", "This tablet", problem=NO_CODE, status=403)
        self._end_open()
        token = sessions.begin(self.desk.folder, "", tablet=found.id, now=_now())
        trail.note(self.desk.folder, found.name, "tablet", "enrolled", f"{found.stage}, by {found.made_by}", now=_now())
        return self._begun(token, "/card", int(sessions.TABLET_IDLE) * 12)

    def sign_out(self) -> flask.Response:
        """End the session; a tablet leaves its bench."""
        who = signed.here()
        self._end_open()
        if who is not None and who.tablet:
            tablets.revoke(self.desk.folder, who.tablet, now=_now())
        signed.did("signed out")
        answer = _to("/sign-in")
        answer.delete_cookie(cookie_name(self.network), path="/", secure=self.network.secure, httponly=True)
        answer.headers["Clear-Site-Data"] = '"cache"'
        return answer

    def me(self, problem: str = "", status: int = 200) -> flask.Response:
        """One's own page: what one may, another password, sign out; who looked at one's figures."""
        who = signed.here()
        if who is None:  # the gate lets nobody else in
            return _to("/sign-in")
        ways = {signed.BENCH: [("/card", "Card")], signed.GUEST: [("/", "Week")]}.get(
            who.role, [("/", "Week"), ("/card", "Card")]
        )
        if who.tech:
            ways = [*ways, (f"/papers/bench?tech={who.tech}", "My figures: the target card")]
        if who.role == signed.MANAGER:
            ways = [*ways, ("/people", "People and tablets")]
        looked = trail.readings_of(self.desk.folder, who.tech) if who.tech else []
        told = {"ways": ways, "looked": looked, "may": people.ROLES[who.role], "problem": problem}
        said = DONE.get(flask.request.args.get("done", ""), "") if not problem else ""
        bench = self._bench(who.stage) if who.tablet else ""
        return self._page("me.html", who.name, status=status, said=said, bench=bench, **told)

    def password(self) -> flask.Response:
        """Another password for whoever is signed in."""
        who, form = signed.here(), _form()
        if who is None or who.tablet:
            return self.me("A tablet has no password.", 403)
        key = f"name {people.key_of(who.name)}"
        if self.tries.wait({key: PER_NAME}):
            return self.me("Too many tries. Wait a quarter of an hour.", 429)
        if people.signing_in(self.desk.folder, who.name, form.get("password", ""), now=_now()) is None:
            self.tries.wrong(key)
            return self.me("The password now is not right.", 403)
        if form.get("new", "") != form.get("again", ""):
            return self.me("The two new passwords are not the same.", 400)
        try:
            people.new_password(self.desk.folder, who.name, form.get("new", ""))
        except AccessProblem as wrong:
            return self.me(_said(wrong), 400)
        sessions.end_all(self.desk.folder, who.name, but=self._token())
        signed.did("changed the password")
        return _to("/me?done=password")

    def elsewhere(self) -> flask.Response:
        """Sign out everywhere but here."""
        who = signed.here()
        if who is not None and not who.tablet:
            sessions.end_all(self.desk.folder, who.name, but=self._token())
            signed.did("signed out everywhere else")
        return _to("/me?done=elsewhere")

    def people(self, *, problem: str = "", status: int = 200, **told: Any) -> flask.Response:
        """Who may sign in, tablets, the trail."""
        shop = self.desk.snapshot().shop if self.desk.has_shop else None
        benches = [(one.key, shop.stage_name(one.key)) for one in shop.stages if one.role != "rest"] if shop else []
        return self._page(
            "people.html",
            "People",
            status=status,
            problem=problem,
            people=people.everybody(self.desk.folder),
            tablets=tablets.enrolled(self.desk.folder),
            trail=trail.newest(self.desk.folder),
            may=people.ROLES,
            benches=benches,
            bench_of=self._bench,
            address=flask.request.host_url,
            **told,
        )

    def tablet(self) -> flask.Response:
        """Show a code that enrols one tablet."""
        form, who = _form(), signed.here()
        stage = form.get("stage", "")
        if stage not in self.desk.snapshot().shop.by_stage:
            return self.people(problem="Choose the tablet's bench.", status=400)
        try:
            code = tablets.new_code(self.desk.folder, form.get("name", ""), stage, who.name if who else "", now=_now())
        except AccessProblem as wrong:
            return self.people(problem=_said(wrong), status=400)
        signed.did("showed a code", f"{form.get('name', '')} at {stage}")
        return self.people(code=code, bench=self._bench(stage))

    def revoke(self) -> flask.Response:
        """Take a tablet away."""
        number = _form().get("tablet", "")
        if not (number.isascii() and number.isdigit() and len(number) < 10):
            return self.people(problem="No such tablet.", status=400)
        tablets.revoke(self.desk.folder, int(number), now=_now())
        signed.did("took a tablet away", number)
        return _to("/people")

    def _bench(self, stage: str) -> str:
        try:
            return self.desk.snapshot().shop.stage_name(stage)
        except (Problem, KeyError):
            return stage

    def _form(self, *, status: int = 200, **told: str) -> flask.Response:
        shop = self.desk.shop_words()[0]
        return self._page("sign_in.html", "Sign in", status=status, **{"shop": shop, "to": "", "name": "", **told})

    def _page(self, template: str, title: str, *, status: int = 200, **told: Any) -> flask.Response:
        who = signed.here()
        said = {"title": title, "signed": who, "home": home(who), "problem": "", "said": "", "code": "", "bench": ""}
        html = self.templates.get_template(template).render(said | told)
        return flask.Response(html, status=status, mimetype="text/html")

    def _token(self) -> str:
        return flask.request.cookies.get(cookie_name(self.network), "")

    def _end_open(self) -> None:
        """Whatever this browser had open ends: a token from before never opens anything after."""
        if self._token():
            sessions.end(self.desk.folder, self._token())

    def _begun(self, token: str, to: str, lasts: int | None) -> flask.Response:
        answer = _to(to)
        answer.set_cookie(
            cookie_name(self.network),
            token,
            max_age=lasts,
            path="/",
            secure=self.network.secure,
            httponly=True,
            samesite="Strict",
        )
        return answer


def connect(server: flask.Flask, desk: Desk, network: Network) -> None:
    """The addresses of the gate's own pages."""
    made = Pages(desk, network)
    for path, view in (("/sign-in", made.sign_in), ("/enrol", made.enrol)):
        server.add_url_rule(path, path[1:], view, methods=["GET", "POST"])
    server.add_url_rule("/me", "me", lambda: made.me())
    server.add_url_rule("/people", "people", lambda: made.people())
    for path, view in (
        ("/sign-out", made.sign_out),
        ("/me/password", made.password),
        ("/me/elsewhere", made.elsewhere),
        ("/people/tablet", made.tablet),
        ("/people/revoke", made.revoke),
    ):
        server.add_url_rule(path, path[1:].replace("/", "-"), view, methods=["POST"])


def _form() -> dict[str, str]:
    if (flask.request.content_length or 0) > LARGEST:
        flask.abort(413)
    return {name: value for name, value in flask.request.form.items() if isinstance(value, str)}


def _said(wrong: AccessProblem) -> str:
    text = f"{wrong}."
    return text[:1].upper() + text[1:]


def _to(where: str) -> flask.Response:
    return flask.Response(status=303, headers={"Location": where})


def _now() -> datetime:
    return datetime.now(UTC)


def _clock(desk: Desk, at: datetime | str) -> str:
    """A moment by the shop's clock; '' of none."""
    if not at:
        return ""
    moment = datetime.fromisoformat(at) if isinstance(at, str) else at
    try:
        return numbers.clock(moment.astimezone(desk.snapshot().shop.zone))
    except Problem:
        return f"{moment:%Y-%m-%d %H:%M} UTC"


def _off(seconds: float) -> str:
    """How far a tablet's clock stands off."""
    if abs(seconds) < 60:
        return "right"
    minutes = numbers.count(round(abs(seconds) / 60))
    return f"{minutes} min {'ahead' if seconds > 0 else 'behind'}"
