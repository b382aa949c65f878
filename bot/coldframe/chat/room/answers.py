"""How the room answers browsers: headers, pages, plain refusals, and the page's own files."""

from __future__ import annotations

import hashlib
import html
from functools import cache
from importlib import resources
from string import Template

from aiohttp import web

TYPES = {"html": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
}
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none';"
    " form-action {forms}; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"
)


def page() -> web.Response:
    return _html(200, asset("index.html")[0].decode(), forms="'none'")


def entrance(words: str, inside: str = "", *, status: int = 200) -> web.Response:
    """A page at the door. Its forms go to the room itself; with no referrer at all a browser would not say whence."""
    text = Template(asset("entrance.html")[0].decode()).substitute(words=html.escape(words), inside=inside)
    response = _html(status, text, forms="'self'")
    response.headers["Referrer-Policy"] = "same-origin"
    return response


def _html(status: int, text: str, *, forms: str) -> web.Response:
    policy = _POLICY.format(forms=forms)
    headers = {**HEADERS, "Content-Security-Policy": policy, "Cache-Control": "no-store"}
    return web.Response(status=status, text=text, content_type="text/html", headers=headers)


def plain(status: int, words: str) -> web.Response:
    headers = {**HEADERS, "Content-Security-Policy": "default-src 'none'", "Cache-Control": "no-store"}
    return web.Response(status=status, text=f"{words}\n", headers=headers)


def turn_to(address: str) -> web.Response:
    return web.Response(status=303, headers={**HEADERS, "Location": address, "Cache-Control": "no-store"})


def own_file(request: web.Request) -> web.Response:
    """A file of the page itself."""
    name = request.match_info["name"]
    if name not in _names():
        raise web.HTTPNotFound
    content, mark = asset(name)
    headers = {**HEADERS, "ETag": mark, "Cache-Control": "no-cache"}
    if request.headers.get("If-None-Match") == mark:
        return web.Response(status=304, headers=headers)
    kind = TYPES[name.rpartition(".")[2]]
    return web.Response(body=content, content_type=kind, charset="utf-8", headers=headers)


@cache
def _names() -> frozenset[str]:
    names = (entry.name for entry in resources.files("coldframe.chat.room").joinpath("page").iterdir())
    return frozenset(name for name in names if name.rpartition(".")[2] in TYPES and not name.endswith(".html"))


@cache
def asset(name: str) -> tuple[bytes, str]:
    """A file of the page and its mark, read once."""
    content = resources.files("coldframe.chat.room").joinpath("page", name).read_bytes()
    return content, f'"{hashlib.sha256(content).hexdigest()[:20]}"'
