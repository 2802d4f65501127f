"""Who may ask this server: a browser that came here by this machine's own name, from pages of ours.

A page from elsewhere can make a browser on this machine send requests here, and a name from elsewhere can be pointed at
this machine; neither may read or write anything. Source: RFC 9110 sections 7.2 (Host) and 15.5.20 (misdirected
requests), RFC 6454 (Origin), W3C Fetch Metadata and Content Security Policy Level 3.
"""

from __future__ import annotations

from urllib.parse import urlsplit

import flask
from dash import Dash
from werkzeug.datastructures import Headers
from werkzeug.exceptions import BadRequest

from dashboard.gate.network import Network

OWN = {"127.0.0.1", "localhost", "::1"}  # names of this machine by which nobody else can be meant
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
POLICY = {  # what a page of ours may load and do; styles are written by the component libraries into the page
    "default-src": "'self'",
    "script-src": "'self'",
    "style-src": "'self' 'unsafe-inline'",
    "img-src": "'self' data: blob:",
    "font-src": "'self' data:",
    "worker-src": "'self' blob:",
    "object-src": "'none'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}
PAPERS = "/papers/"  # one file each, its script and pictures within, as it is when saved


ASSETS = "/assets/"  # the same for everybody; their address says by `m` which version they are
FOR_GOOD, FOR_AN_HOUR = "public, max-age=31536000, immutable", "public, max-age=3600"  # seconds


SAFE = {"GET", "HEAD"}  # methods that change nothing
SECURE = "max-age=31536000"  # seconds: over TLS once, over TLS from then on


def connect(app: Dash, network: Network | None = None) -> None:
    """Looks at each request before anything else does, and tells the browser with each answer what to keep out.

    network : served to other devices; None: to this machine alone.
    """

    def look() -> None:
        request = flask.request
        problem = wrong(request.host, request.headers, request.method)
        if network is not None:
            problem = wrong_on_network(network, request.scheme, request.host, request.headers, request.method)
        if problem:
            raise BadRequest(problem)

    def tell(answer: flask.Response) -> flask.Response:
        answer.headers.update(HEADERS)
        if flask.request.path.startswith(ASSETS) and answer.status_code in (200, 304):
            answer.headers["Cache-Control"] = FOR_GOOD if "m" in flask.request.args else FOR_AN_HOUR
        if network is not None and network.secure:
            answer.headers["Strict-Transport-Security"] = SECURE
        if answer.mimetype == "text/html":
            of_paper = flask.request.path.startswith(PAPERS)
            scripts = "'unsafe-inline'" if of_paper else " ".join(app.csp_hashes())  # the few that Dash itself writes
            answer.headers["Content-Security-Policy"] = _policy(scripts)
        return answer

    app.server.before_request(look)
    app.server.after_request(tell)


def wrong(host: str, headers: Headers, method: str) -> str:
    """Why a request is not answered, '' where it is.

    host : as the browser called us, with its port.  headers : of the request, looked up by name.
    """
    if _name(host) not in OWN:
        return f"This server answers to 127.0.0.1 and localhost, not to {host[:80]}."
    return _from_elsewhere(host, headers, method)


def wrong_on_network(network: Network, scheme: str, host: str, headers: Headers, method: str) -> str:
    """As `wrong`, for a server that other devices call: by the names it is known under; whatever changes something
    must come from a page of ours and say so.
    """
    if not network.answers_to(_name(host)):
        return f"This server is not known as {host[:80]}; whoever started it can add the name with --name."
    if network.secure and scheme != "https":
        return "This way is not encrypted; the proxy in front has to speak TLS and say so by X-Forwarded-Proto."
    origin = headers.get("Origin")
    if origin is not None and origin.lower() != f"{scheme}://{host}".lower():
        return "This request comes from another page than ours."
    if method not in SAFE and origin is None and headers.get("Sec-Fetch-Site") != "same-origin":
        return "This request does not say which page it comes from."
    return _from_elsewhere(host, headers, method)


def _from_elsewhere(host: str, headers: Headers, method: str) -> str:
    get = headers.get
    origin = get("Origin")
    if origin is not None and urlsplit(origin).netloc.lower() != host.lower():
        return "This request comes from another page than ours."
    visit = method == "GET" and get("Sec-Fetch-Mode") == "navigate" and get("Sec-Fetch-Dest") == "document"
    if get("Sec-Fetch-Site") in ("cross-site", "same-site") and not visit:
        return "This request comes from another page than ours."
    return ""


def _name(host: str) -> str:
    """The name in a Host header, without its port; '' where it is none."""
    try:
        return (urlsplit(f"//{host}").hostname or "").rstrip(".")
    except ValueError:
        return ""


def _policy(scripts: str) -> str:
    return "; ".join(f"{name} {said}{f' {scripts}' if name == 'script-src' else ''}" for name, said in POLICY.items())
