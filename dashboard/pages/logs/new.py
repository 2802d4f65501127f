"""The way in on Logs: a sheet nobody has told the shop about, what each column is taken for, what it cannot tell, and a
first shop made of the answers.

The functions are those of `truerun new`. Nothing is written or loaded before somebody says so, nothing is ever
overwritten, and what was written last can be taken back and mapped anew.
"""

from __future__ import annotations

import base64
from itertools import groupby
from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update

from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.desk.jobs import LARGEST
from dashboard.pages.logs import mapping
from ingest.beginning.adding import add_to_shop, take_back
from ingest.beginning.asking import COLUMN, WHAT, Ask, unfit
from ingest.beginning.counted import counted
from ingest.beginning.new import Proposal, propose, said_columns, write
from ingest.beginning.rows_meant import PASS_OVER
from ingest.beginning.sheets_of_shop import OWN
from ingest.beginning.starting_values import STAGES
from ingest.shopfiles.shop import Shop, ShopProblem
from ingest.terms.questions import FileProblem

DROP, PROPOSAL, WRITE, SAID = "logs-new-drop", "logs-new-proposal", "logs-new-write", "logs-new-said"
ANSWER, COUNTS, BACK, BACK_SAID = "logs-new-answer", "logs-new-counts", "logs-new-back", "logs-new-back-said"
HELD = "logs-new-held"  # what was shown: answers, what each column was taken for, and what somebody has said of columns
NONE_YET = "No shop here yet."
UNDER = (
    "Drop a sheet of your own, as it is: every column is shown with what it is taken for, you change what is wrong, "
    "and nothing is written or loaded before you say so."
)
WHO = "who mapped the sheet"
NOT_SAID = "ask"  # an answer that nobody has given yet
LABELS = {NOT_SAID: "not said yet", OWN: "its own bench", PASS_OVER: "none of ours"}
PATIENCE = 120.0  # seconds until the page says that sheets are still being taken out


def first() -> list[Any]:
    """What Logs shows where there is no shop yet."""
    note = f"CSV or xlsx, up to {LARGEST // 1_000_000} MB; more at once if they belong together"
    return [parts.sheet("Bring your first sheet", note, _drop("Drop a sheet here, or ")), html.Div(id=PROPOSAL)]


def another() -> html.Details:
    """The same for a shop that meets a new kind of sheet: only what its shop.toml lacks is proposed."""
    say = "What its columns are taken for, and what shop.toml needs to read it. Nothing is written before you say so."
    return html.Details(
        [
            html.Summary("A new kind of sheet?"),
            html.P(say, className="small"),
            _drop("Drop it here to have it looked at, or "),
            html.Div(id=PROPOSAL),
        ],
        className="behind",
    )


def _drop(words: str) -> html.Div:
    return parts.drop(words, DROP, LARGEST)


def shown(
    proposal: Proposal,
    answers: dict[str, str],
    counts: list[Any] | None = None,
    *,
    columns: mapping.Columns | None = None,
    says: str = "",
) -> list[Any]:
    """A proposal: each sheet column by column, the questions, what would be read and written, and the button.

    columns : what somebody has said of columns.  says : what stands beside the button.
    """
    held = mapping.held(proposal, answers, columns or {})
    sheets: list[Any] = [dcc.Store(id=HELD, data=held), *(mapping.shown(seen) for seen in proposal.surveys)]
    would_read = parts.sheet(
        "What would be read", "counted anew with every change", html.Div(counts or [], id=COUNTS, role="status")
    )
    asks = [ask for ask in proposal.asks if not ask.key.startswith(COLUMN)]
    fields = _fields(asks, answers)
    texts = [html.H3("shop.toml"), html.Pre(proposal.shop_toml, className="paste")]
    if proposal.specs_csv:
        texts += [html.H3("specs.csv"), html.Pre(proposal.specs_csv, className="paste")]
    would = html.Details([html.Summary("What would be written"), *texts], className="behind")
    said = html.P(says, id=SAID, role="status", className="said")
    if proposal.additions:
        if not proposal.shop_toml:
            lacks = html.P("It lacks nothing for this sheet: drop it above.")
            return [*sheets, would_read, parts.sheet("For shop.toml", "", lacks)]
        how = "These tables go into shop.toml, new kinds of sheet before those there are; every guess is marked."
        act = _act("Add to shop.toml and load")
        text = html.Pre(proposal.shop_toml, className="paste")
        folded = html.Details([html.Summary("What would be written"), text], className="behind")
        inside = [html.P(how), *fields, act, said, folded]
        return [*sheets, would_read, parts.sheet("For shop.toml", "additions only", inside)]
    count = len(asks)
    right = f"{numbers.count(count)} {'question' if count == 1 else 'questions'}; a guess you leave stands, marked"
    if not asks:
        right = "nothing to ask; every guess is marked in the file"
    act = _act("Write the shop and load")
    return [*sheets, would_read, parts.sheet("What the sheets cannot tell", right, [*fields, act, said, would])]


def _act(words: str) -> html.Div:
    return html.Div(html.Button(words, id=WRITE, className="button primary"), className="acts")


def _fields(asks: list[Ask], answers: dict[str, str]) -> list[Any]:
    """All questions; those that ask the same of several words side by side under one."""
    out: list[Any] = []
    for of, several in groupby(asks, lambda ask: ask.of or ask.key):
        alike = list(several)
        if len(alike) == 1:
            out.append(html.Div(_field(alike[0], alike[0].text, answers), className="asked"))
            continue
        words = html.Div([_field(ask, ask.word or "(empty)", answers) for ask in alike], className="asked-words")
        out.append(
            html.Div(
                [html.P(of, className="small"), words], className="asked-alike", role="group", **{"aria-label": of}
            )
        )
    return out


def _field(ask: Ask, label: str, answers: dict[str, str]) -> Any:
    """One question with its answers, the guess filled in."""
    id, value = {"type": ANSWER, "key": ask.key}, answers.get(ask.key, ask.default)
    called = {stage.key: stage.name for stage in STAGES} | LABELS
    named = {one: called.get(one, one) for one in (*ask.options, ask.default)}
    if ask.key.startswith(WHAT):
        named |= mapping.measurements() | {"ignore": "leave out"} | ({value: value} if value not in named else {})
    elif not ask.options:
        return parts.text_field(label, id, value)
    options = [{"value": one, "label": told} for one, told in named.items()]
    return parts.field(label, id, value, options, **{"aria-label": ask.text})


def connect(app: Dash, watch: tuple[Output, Output]) -> None:
    """watch : where Logs shows how far its work is, and the clock that looks."""
    app.callback(
        Output(PROPOSAL, "children"), Input(DROP, "contents"), State(DROP, "filename"), prevent_initial_call=True
    )(look_at)
    picks = {"type": mapping.PICK, "key": ALL}
    asked = {"type": ANSWER, "key": ALL}
    files = (State(DROP, "contents"), State(DROP, "filename"))

    def counted_again(*given: Any) -> tuple[Any, Any]:
        return count_again(*given[:-1], held=given[-1])

    app.callback(
        Output(COUNTS, "children"),
        Output(PROPOSAL, "children", allow_duplicate=True),
        Input(picks, "value"),
        Input(asked, "value"),
        State(picks, "id"),
        State(asked, "id"),
        *files,
        State(HELD, "data"),
        prevent_initial_call=True,
    )(counted_again)
    app.callback(
        [
            Output(PROPOSAL, "children", allow_duplicate=True),
            Output(SAID, "children"),
            *watch,
            Output("logs-top", "children", allow_duplicate=True),
        ],
        inputs={"clicks": Input(WRITE, "n_clicks")},
        state={
            "values": State(asked, "value"),
            "ids": State(asked, "id"),
            "contents": files[0],
            "names": files[1],
            "picks": State(picks, "value"),
            "pick_ids": State(picks, "id"),
            "held": State(HELD, "data"),
        },
        prevent_initial_call=True,
    )(begin)
    app.callback(
        Output(BACK_SAID, "children"), Input(BACK, "n_clicks"), State(DROP, "filename"), prevent_initial_call=True
    )(back)


def files_of(contents: list[str] | None, names: list[str] | None) -> list[tuple[str, bytes]]:
    """Dropped files by name and bytes; FileProblem where one came empty."""
    files = []
    for content, name in zip(contents or [], names or [], strict=True):
        _, comma, data = content.partition(",")
        if not comma:
            raise FileProblem(f"{name} came empty; load it at the command line: truerun load {name}")
        files.append((name, base64.b64decode(data)))
    return files


def _known() -> Shop | None:
    return desk.here().snapshot().shop if desk.here().has_shop else None


def look_at(contents: list[str] | None, names: list[str] | None) -> Any:
    """What dropped sheets seem to hold."""
    if not contents:
        return no_update
    try:
        shop, files = _known(), files_of(contents, names)
        proposal = propose(files, shop=shop)
        return shown(proposal, {}, mapping.counts(counted(files, proposal, shop), proposal))
    except (FileProblem, ShopProblem) as problem:
        return parts.ask(str(problem))


def _proposed(
    files: list[tuple[str, bytes]],
    answers: dict[str, str],
    picks: dict[str, str],
    held: dict[str, Any] | None,
    *,
    first: bool,
) -> tuple[Proposal, Shop | None, mapping.Columns]:
    """The proposal as somebody has answered and mapped it, and what they have said of columns.

    held : what was shown, as `shown` keeps it.  first : it was shown as a first shop; one that came meanwhile is then
    no shop to add to.
    """
    shop = None if first else _known()
    before = held["shown"] if held else mapping.defaults(propose(files, shop=shop))
    columns = mapping.said_before(held) | mapping.picked(picks, before)
    return propose(files, shop=shop, answers=answers, said=said_columns(columns)), shop, columns


def _told(values: list[str | None], ids: list[dict[str, str]]) -> dict[str, str]:
    return {id["key"]: (value or "").strip() for id, value in zip(ids, values, strict=True) if (value or "").strip()}


AT_ONCE = 10_000  # lines of a file that are counted anew with every change


def count_again(
    picks: list[str | None],
    values: list[str | None],
    pick_ids: list[dict[str, str]],
    ids: list[dict[str, str]],
    contents: list[str] | None,
    names: list[str] | None,
    *,
    held: dict[str, Any] | None = None,
) -> tuple[Any, Any]:
    """What would be read with the columns and answers as they are now; all of it anew where an answer tells columns or
    asks more.
    """
    if not contents:
        return no_update, no_update
    answers, taken = _told(values, ids), _told(picks, pick_ids)
    try:
        files = files_of(contents, names)
        proposal, shop, columns = _proposed(files, answers, taken, held, first="timezone" in _keys(ids))
        wrong = [said for ask in proposal.asks if (said := unfit(ask, answers.get(ask.key, ask.default)))]
        fresh = [ask.text for ask in proposal.asks if ask.key not in _keys(ids) and not ask.key.startswith(COLUMN)]
        more = [html.P(f"To be asked then: {' '.join(fresh)}", className="small")] if fresh else []
        told = mapping.counts(counted(files, proposal, shop, lines=AT_ONCE), proposal)
        now, answered = mapping.defaults(proposal), held is not None and answers != held["answers"]
        if answered and not wrong and (fresh or any(now.get(key) != value for key, value in taken.items())):
            return no_update, shown(proposal, answers, told, columns=columns)
        return [*told, *more, *(parts.ask(line) for line in wrong)], no_update
    except (FileProblem, ShopProblem, ValueError) as problem:
        return parts.ask(str(problem)), no_update


def _keys(ids: list[dict[str, str]]) -> set[str]:
    return {id["key"] for id in ids}


def begin(
    clicks: int | None,
    values: list[str | None],
    ids: list[dict[str, str]],
    contents: list[str] | None,
    names: list[str] | None,
    *,
    picks: list[str | None] | None = None,
    pick_ids: list[dict[str, str]] | None = None,
    held: dict[str, Any] | None = None,
) -> tuple[Any, Any, Any, Any, Any]:
    """Write what was answered and mapped, and begin to load its sheets; questions that this brings up come first."""
    if not clicks:
        return (no_update,) * 5
    answers = _told(values, ids)
    folder = desk.here().folder
    try:
        files = files_of(contents, names)
        taken = _told(picks or [], pick_ids or [])
        proposal, shop, columns = _proposed(files, answers, taken, held, first="timezone" in _keys(ids))
        wrong = [said for ask in proposal.asks if (said := unfit(ask, answers.get(ask.key, ask.default)))]
        if wrong:
            return no_update, " ".join(wrong), no_update, no_update, no_update
        fresh = [ask.key for ask in proposal.asks if ask.key not in _keys(ids) and not ask.key.startswith(COLUMN)]
        if fresh:
            more = f"{numbers.count(len(fresh))} more to ask, after what you said; look again, then write."
            counts = mapping.counts(counted(files, proposal, shop), proposal)
            again = shown(proposal, answers, counts, columns=columns, says=more)
            return again, no_update, no_update, no_update, no_update
        written = [add_to_shop(folder, proposal)] if proposal.additions else write(folder, proposal)
    except (FileProblem, ShopProblem, OSError, ValueError) as problem:
        return no_update, str(problem), no_update, no_update, no_update
    desk.here().jobs.load(files)
    say = [
        html.P([parts.picture("take"), f" Written: {', '.join(str(path) for path in written)}."]),
        html.P(
            "Guesses are marked in shop.toml, and the limits in specs.csv are starting values, not yours: put them "
            "right, then ask again."
        ),
        html.Div(
            [
                dcc.Link("To the week", href="/", className="button primary"),
                html.Button("Take it back and map it anew", id=BACK, className="button"),
            ],
            className="acts",
        ),
        html.P(id=BACK_SAID, role="status"),
    ]
    top = parts.page_head("Your shop is written.", "Its sheets are being loaded.")
    return parts.sheet("Your shop", "", say), "", [html.P("The sheets are being loaded.")], False, top


def back(clicks: int | None, names: list[str] | None) -> Any:
    """Take the sheets of this mapping out again and put the shop file away, or back as it was."""
    if not clicks or not names:
        return no_update
    counter = desk.here()
    number = counter.jobs.take_out_all(names, WHO, lambda: take_back(counter.folder))
    try:
        done = counter.jobs.wait(number, seconds=PATIENCE)
    except TimeoutError:
        return "The sheets are still being taken out: look at Logs in a minute, then map them anew."
    if done.problem:
        return f"{done.problem}."
    return [
        "The sheets are taken out and shop.toml is put back as it was, or aside as shop.toml.taken-back. ",
        html.A("Map them anew", href="/logs"),
    ]
