"""Answer the browser: a start page, the pages, what their controls need, nothing else.

Every route is listed in `_routes`. There is no file browser, no address that starts a
kernel but a page's own, and none that takes code: the one connection to a kernel lets
only the messages of controls pass (`messages`). What a visitor may ask for has bounds
(`limits`). The part that draws controls in the browser is Voila's, served from this machine.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import re
import secrets
import sys
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import jinja2
from jupyter_core.paths import jupyter_path
from jupyter_server.auth.authorizer import AllowAllAuthorizer
from jupyter_server.auth.identity import IdentityProvider, User
from jupyter_server.base.handlers import JupyterHandler
from jupyter_server.base.websocket import WebSocketMixin
from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
from jupyter_server.services.kernels.websocket import KernelWebsocketHandler
from tornado import web
from tornado.iostream import StreamBufferFullError, StreamClosedError
from tornado.websocket import WebSocketClosedError, WebSocketHandler
from traitlets.config import Config

from coreward.app import messages
from coreward.app.kernels import PageKernels, Said, Seed, can_copy
from coreward.app.lab import Lab
from coreward.app.limits import (
    Connections,
    Paces,
    allow_files,
    bounded_server,
    share_files,
)
from coreward.app.pages import COOK, FRONT, LEARN, Page, read_pages, stored
from coreward.app.quiet import quiet_terminal
from coreward.app.sessions import (
    COMPUTING,
    ENDED,
    MEMORY_OF_A_COPY,
    MEMORY_ON_ITS_OWN,
    READY,
    FullHouseError,
    Session,
    Sessions,
    sessions_that_fit,
)
from coreward.errors import CorewardError, MissingFeatureError
from coreward.files import OwnFolder, sweep_leftovers

_LOOK: Final = Path(__file__).parent / "look"
# At once, and in a second from then on. A page asks for some forty files, thirty people behind
# one address come together.
_NEWCOMERS: Final = 120, 1
_QUESTIONS: Final = 600, 60
_MOST_CHANNELS: Final = 3  # of one page: the one that is open, and some that are ending
_KERNEL: Final = r"(?P<kernel_id>[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})"
# Nothing from elsewhere is ever loaded. Styles in place: controls set their own widths.
# Evaluation: the checker of settings in the drawing part builds its functions from text.
_SECURITY: Final = (
    "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; "
    "script-src 'self' 'unsafe-eval'; font-src 'self' data:; connect-src 'self' data:; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
_EXTENSIONS: Final = {
    # The widget manager that knows pages, and the controls themselves.
    "@voila-dashboards/widgets-manager8": ("voila/labextensions",),
    "@jupyter-widgets/jupyterlab-manager": ("labextensions",),
}


@dataclass(frozen=True)
class Drawing:
    """Where the part that draws controls lies, and what it is to load."""

    bundle: Path
    """Folder of the scripts."""
    extensions: dict[str, Path]
    """Name of an extension to its folder."""

    def to_load(self) -> list[dict[str, str]]:
        """Return the extensions in the words of the page's settings."""
        found = []
        for name, folder in self.extensions.items():
            about = json.loads((folder / "package.json").read_text(encoding="utf-8"))
            built = about["jupyterlab"]["_build"]
            found.append({"name": name, **built})
        return found


def find_drawing() -> Drawing:
    """Find the scripts that draw controls.

    Raises
    ------
    MissingFeatureError
        If they are not installed.
    """
    bundle = _first_folder("voila/templates/base/static", "voila.js")
    extensions = {
        name: _first_folder(f"{places[0]}/{name}", "package.json")
        for name, places in _EXTENSIONS.items()
    }
    return Drawing(bundle, extensions)


def _first_folder(relative: str, holding: str) -> Path:
    for base in jupyter_path():
        if (Path(base) / relative / holding).is_file():
            return Path(base) / relative
    raise MissingFeatureError(
        f"The app view needs {relative}, which comes with the packages voila and ipywidgets "
        "and was not found. Install Coreward again with its dependencies."
    )


# Who may come in ----------------------------------------------------------------------


class TokenIdentity(IdentityProvider):
    """Know a visitor by a signed cookie, given to whoever came with the token."""

    visitor_cookie = "coreward-visitor"

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self.newcomers = Paces(*_NEWCOMERS)

    def get_user(self, handler: web.RequestHandler) -> User | None:
        """Return the visitor, or None without cookie and token."""
        known = handler.get_secure_cookie(self.visitor_cookie)
        if known:
            return User(known.decode())
        given = handler.get_query_argument("token", "")
        if not secrets.compare_digest(given.encode(), self.token.encode()):
            return None
        if self.newcomers.of(str(handler.request.remote_ip)).refused_s():
            raise web.HTTPError(429)
        name = secrets.token_hex(16)
        handler.set_secure_cookie(
            self.visitor_cookie, name, expires_days=None, httponly=True, samesite="Strict"
        )
        return User(name)


# What is answered ---------------------------------------------------------------------


class _Handler(JupyterHandler):
    """What all answers share."""

    @property
    def app(self) -> App:
        """The server's own state."""
        app: App = self.settings["coreward_app"]
        return app

    @property
    def content_security_policy(self) -> str:
        """What a page may load."""
        return _SECURITY

    @property
    def visitor(self) -> str:
        """The visitor's name; nobody without one gets here."""
        return str(self.current_user.username)

    def check_host(self) -> bool:
        """Answer to this machine's own names only, so that no foreign name can lead here."""
        return urlsplit(f"//{self.request.host}").hostname in self.app.names

    async def prepare(self, **_: Any) -> None:
        """Let in who has the token, and take it out of the address."""
        await super().prepare(_redirect_to_login=False)
        if self.current_user is None:
            raise web.HTTPError(403)
        stream = getattr(self.request.connection, "stream", None)
        if not self.app.connections.know(stream, self.visitor):
            self.set_header("Connection", "close")
            raise web.HTTPError(429)
        if self.app.questions.of(self.visitor).refused_s():
            raise web.HTTPError(429)
        if "token" in self.request.query_arguments:
            # An address on a projector must not show the token.
            self.redirect(self.request.path)

    def set_default_headers(self) -> None:
        """Add headers that keep a page from being framed, guessed at or remembered."""
        super().set_default_headers()
        self.set_header("Referrer-Policy", "no-referrer")
        self.set_header("Cross-Origin-Opener-Policy", "same-origin")
        self.set_header("Cache-Control", "no-store")

    def show(self, template: str, **values: Any) -> None:
        """Write a page from a template."""
        self.set_header("Content-Type", "text/html; charset=utf-8")
        found = self.app.templates.get_template(template)
        app = self.app
        about = {
            "pages": app.pages, "cook": app.cook, "learn": app.learn,
            "has_code": app.lab is not None, "version": app.version,
        }  # fmt: skip
        self.finish(found.render(about | values))

    def write_error(self, status_code: int, **_: Any) -> None:
        """Write a plain page; never what went wrong inside."""
        title, words = _ERRORS.get(status_code, _ERRORS[500])
        self.show("message.html", title=title, words=words)


_ERRORS: Final = {
    403: (
        "This address is not complete",
        "The pages open with the whole address, from http to the last letter of its token. "
        "Ask whoever started them, or copy it again from the terminal.",
    ),
    404: ("There is no such page", "Go back to the list of pages."),
    429: (
        "Too much at once",
        "So much was asked for from here that the pages stay free for others. Wait a minute, "
        "close what you do not need, and load the page again.",
    ),
    500: ("Something went wrong", "Load the page again. If it stays, start the pages again."),
}


class _Page(_Handler):
    async def get(self, name: str) -> None:
        page = self.app.page(name)
        if page is None:
            raise web.HTTPError(404)
        self.open(page, "page.html")

    def open(self, page: Page, template: str) -> None:
        """Show a page and start what computes it."""
        session, full = None, ""
        try:
            session = self.app.sessions.open(self.visitor, page)
        except FullHouseError as error:
            full = str(error)
            self.set_status(503)
            self.set_header("Retry-After", "120")
        # What is computed already is shown before any script has run.
        done = [] if session is None else [stored(r["outputs"]) for r in session.results]
        self.show(
            template, page=page, full=full, done=done, settings=self._for_drawing(session)
        )

    def _for_drawing(self, session: Session | None) -> str:
        """Return the settings that the drawing part reads from the page, as JSON."""
        if session is None:
            return ""
        settings = {
            "appUrl": "/", "baseUrl": "/", "fullStaticUrl": "/drawing/scripts",
            "fullLabextensionsUrl": "/drawing/extensions", "themesUrl": "/none",
            "jupyterLabTheme": "light", "kernelId": session.kernel_id,
            "progressiveRendering": True, "terminalsAvailable": False,
            "federated_extensions": self.app.to_load, "disabledExtensions": [],
            # Formulas by the part that is at hand, not from elsewhere.
            "fullMathjaxUrl": None, "mathjaxConfig": None,
        }  # fmt: skip
        # Inside a script element only this could end it early.
        return json.dumps(settings).replace("</", "<\\/")


class _Index(_Page):
    async def get(self) -> None:  # type: ignore[override]
        if self.app.at_home:
            self.open(FRONT, "index.html")
        else:
            # Thirty people behind one address want their places for pages.
            self.show("index.html", page=FRONT, full="", done=[], settings="")


class _Notebook(_Handler):
    """The same page in JupyterLab, for the one person at this machine."""

    async def get(self, name: str) -> None:
        lab, page = self.app.lab, self.app.page(name)
        if lab is None or page is None:
            raise web.HTTPError(404)
        try:
            await lab.start(self.app.port)
        except CorewardError:
            raise web.HTTPError(500) from None
        host = urlsplit(f"//{self.request.host}").hostname
        self.redirect(lab.address(page.name, host or "localhost"))


class _Missing(_Handler):
    async def get(self) -> None:
        raise web.HTTPError(404)

    post = put = patch = delete = head = options = get


class _Static(_Handler, web.StaticFileHandler):
    """Files of one folder, none outside it and none without the token."""

    def set_extra_headers(self, path: str) -> None:
        """Let a browser keep scripts whose content never changes under a version."""
        self.set_header("Cache-Control", "private, max-age=3600")

    async def get(self, path: str, include_body: bool = True) -> None:
        """Give one answer for what leads outside, is no file or does not exist."""
        try:
            await web.StaticFileHandler.get(self, path, include_body)
        except (web.HTTPError, ValueError):
            raise web.HTTPError(404) from None

    def validate_absolute_path(self, root: str, absolute_path: str) -> str | None:
        """Refuse what leads outside the folder, also by way of a link in it."""
        if not Path(absolute_path).resolve().is_relative_to(Path(root).resolve()):
            raise web.HTTPError(404)
        return super().validate_absolute_path(root, absolute_path)

    def compute_etag(self) -> str | None:
        """As for any static file; the base class above has another idea."""
        return web.StaticFileHandler.compute_etag(self)


class _Look(web.StaticFileHandler):
    """What makes pages look as they do; also for the page that refuses to open."""


class _KernelModel(_Handler):
    """What the drawing part asks about its kernel before it connects."""

    async def get(self, kernel_id: str) -> None:
        session = self.app.sessions.of_kernel(self.visitor, kernel_id)
        if session is None or not await self.app.sessions.is_started(session):
            raise web.HTTPError(404)
        self.set_header("Content-Type", "application/json")
        self.finish(json.dumps({"id": kernel_id, "name": "python3"}))


class FencedConnection(ZMQChannelsWebsocketConnection):
    """Between a page and its kernel: controls may talk, code may not."""

    def handle_incoming_message(self, incoming_msg: Any) -> None:
        """Pass on what a control says; close the connection on anything else."""
        try:
            messages.check(incoming_msg, self.subprotocol)
        except messages.RefusedMessageError as refusal:
            self.websocket_handler.close(1008, str(refusal))
            return
        page: Any = self.websocket_handler
        page.note_touch()
        super().handle_incoming_message(incoming_msg)

    def handle_outgoing_message(self, stream: str, outgoing_msg: list[Any]) -> None:
        """Pass on all but the code that runs: pages show none."""
        _, parts = self.session.feed_identities(outgoing_msg)
        header: Any = parts[1]
        if json.loads(bytes(header))["msg_type"] == "execute_input":
            return
        try:
            super().handle_outgoing_message(stream, outgoing_msg)
        except StreamBufferFullError:
            # Who does not read what he asks for is not remembered for ever.
            page: Any = self.websocket_handler
            page.ws_connection.stream.close()


class _Channels(KernelWebsocketHandler, _Handler):
    """The connection to a kernel, for the visitor whose page it is."""

    _session: Session | None = None

    async def pre_get(self) -> None:
        """Look whether it is the visitor's own."""
        session = self.app.sessions.of_kernel(self.visitor, self.kernel_id)
        # The name becomes an address between processes.
        named = re.fullmatch(r"[\w-]{0,64}", self.get_query_argument("session_id", ""))
        if not named or session is None or not await self.app.sessions.is_started(session):
            raise web.HTTPError(404)
        await super().pre_get()
        self._session = session
        while len(session.channels) >= _MOST_CHANNELS:
            session.channels.pop(0).close(1008, "too many connections to one page")
        session.channels.append(self)

    async def on_message(self, ws_message: str | bytes) -> None:
        """Take a message when its turn has come; until then no further one is read."""
        assert self._session is not None
        for pace, amount in zip(self._session.paces, (1, len(ws_message)), strict=True):
            await asyncio.sleep(min(60.0, pace.wait_s(amount)))
        if self.connection is not None:
            super().on_message(ws_message)

    def on_close(self) -> None:
        """Leave the place among the page's connections, and tell why if it was too much."""
        session = self._session
        if session is not None and self in session.channels:
            session.channels.remove(self)
        super().on_close()

    def note_touch(self) -> None:
        """Note that the page is used."""
        if self._session is not None:
            self._session.touch()


class _Results(WebSocketMixin, WebSocketHandler, _Handler):
    """What the cells of a page gave: at once what is there, then what comes."""

    _session: Session | None = None
    _telling: asyncio.Task[None] | None = None
    max_message_size = 2**10  # it says "begin", and nothing else

    async def get(self, kernel_id: str) -> None:
        """Look whether it is the visitor's own, then open."""
        self._session = self.app.sessions.of_kernel(self.visitor, kernel_id)
        if self._session is None:
            raise web.HTTPError(404)
        await super().get(kernel_id=kernel_id)

    async def open(self, kernel_id: str) -> None:
        """Wait for the page to ask."""
        super().open()

    async def on_message(self, message: str | bytes) -> None:
        """Start telling; what was sent does not matter, so nothing can be asked for."""
        assert self._session is not None
        if self._telling is None:
            self.app.sessions.run(self._session)
            self._telling = asyncio.create_task(self._tell(self._session))

    async def _tell(self, session: Session) -> None:
        total, told = len(session.page.sources), 0
        with contextlib.suppress(WebSocketClosedError):  # the page may be gone at any moment
            while True:
                for number in range(told, len(session.results)):
                    result = {
                        "output_cell": session.results[number],
                        "cell_index": number,
                        "total_cell": total,
                    }
                    await self.write_message({"action": "execution_result", "payload": result})
                told = len(session.results)
                if told == total:
                    return
                if session.state not in {COMPUTING, READY}:
                    self.close(1001, "nothing more will come")
                    return
                async with session.changed:
                    if told == len(session.results):
                        await session.changed.wait()

    def on_close(self) -> None:
        """Stop telling; the cells run on, for when the page is loaded again."""
        super().on_close()
        if self._telling is not None:
            self._telling.cancel()

    def set_default_headers(self) -> None:
        """None: this is no page."""


class _State(_Handler):
    """The state of a page in words, as it changes (server-sent events)."""

    async def get(self, kernel_id: str) -> None:
        session = self.app.sessions.of_kernel(self.visitor, kernel_id)
        if session is None:
            raise web.HTTPError(404)
        self.set_header("Content-Type", "text/event-stream")
        session.readers += 1
        told = None
        try:
            while told is None or told[0] != ENDED:
                now = (session.state, session.words)
                if now != told:
                    self.write(
                        "data: " + json.dumps({"state": now[0], "words": now[1]}) + "\n\n"
                    )
                else:
                    self.write(": still here\n\n")
                told = now
                await self.flush()
                async with session.changed:
                    if told == (session.state, session.words):
                        with contextlib.suppress(TimeoutError):
                            await asyncio.wait_for(session.changed.wait(), 10)
        except StreamClosedError:
            pass
        finally:
            session.readers -= 1
            session.left = time.monotonic()


# The server ---------------------------------------------------------------------------


class App:
    """What the handlers share."""

    def __init__(
        self,
        serving: Serving,
        sessions: Sessions,
        connections: Connections,
        drawing: Drawing,
    ) -> None:
        self.pages: tuple[Page, ...] = read_pages(serving.folder / "notebooks")
        self.cook, self.learn = (
            [page for name in names if (page := self.page(name))] for names in (COOK, LEARN)
        )
        self.lab, self.port = serving.lab, serving.port
        self.at_home = serving.home is not None
        self.sessions = sessions
        self.connections = connections
        self.questions = Paces(*_QUESTIONS)
        self.to_load = drawing.to_load()
        self.version = serving.version
        self.names = frozenset({"localhost", "127.0.0.1", "::1", *serving.names})
        self.templates = jinja2.Environment(
            loader=jinja2.FileSystemLoader(_LOOK),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
        )

    def page(self, name: str) -> Page | None:
        """Return a page by its name."""
        return next((page for page in self.pages if page.name == name), None)


def _routes(drawing: Drawing) -> list[Any]:
    routes: list[Any] = [
        (r"/", _Index),
        (r"/page/([\w-]+)", _Page),
        (r"/notebook/([\w-]+)", _Notebook),
        (r"/look/([\w.-]+\.(?:css|js|svg))", _Look, {"path": str(_LOOK)}),
        (r"/drawing/scripts/(.+)", _Static, {"path": str(drawing.bundle)}),
        (r"/api/kernels/" + _KERNEL, _KernelModel),
        (r"/api/kernels/" + _KERNEL + r"/channels", _Channels),
        (r"/voila/execution/" + _KERNEL, _Results),
        (r"/state/" + _KERNEL, _State),
    ]
    routes += [
        (rf"/drawing/extensions/{name}/static/(.+)", _Static, {"path": str(folder / "static")})
        for name, folder in drawing.extensions.items()
    ]
    return routes


@dataclass(frozen=True)
class Serving:
    """How a server is to run."""

    folder: Path
    """Holds ``notebooks`` and ``data``."""
    port: int
    """Where it listens."""
    token: str
    """What a visitor has to bring."""
    version: str
    """Shown at the foot of pages."""
    host: str = "127.0.0.1"
    """Address to listen on."""
    most: int | None = None
    """Most sessions; None means as many as memory allows."""
    caches: tuple[Path, ...] = ()
    """Folders of compiled code and fonts that kernels may write."""
    names: tuple[str, ...] = ()
    """Names of this machine that a browser may use, beside loopback."""
    copies: bool = can_copy()
    """Whether kernels are copied from a seed."""
    abandoned_s: float | None = None
    idle_s: float | None = None
    """See `Sessions`; None means its own."""
    home: Path | None = None
    """The settings of the one person that all is for; None where pages are shared."""
    lab: Lab | None = None
    """JupyterLab for that person. It can run any code: never where pages are shared."""

    def __post_init__(self) -> None:
        if self.lab is not None and (self.home is None or self.names):
            raise ValueError("JupyterLab is for one person at this machine")


async def serve(
    serving: Serving, ready: Callable[[int], Awaitable[None]] | None = None
) -> None:
    """Serve pages until cancelled.

    Parameters
    ----------
    ready : callable, optional
        Awaited once pages are answered, with the number of sessions that fit.
    """
    with quiet_terminal():
        await _serve(serving, ready)


async def _serve(
    serving: Serving, ready: Callable[[int], Awaitable[None]] | None = None
) -> None:
    import psutil

    drawing = find_drawing()
    sweep_leftovers()
    between = OwnFolder("kernels")
    said = Said() if sys.platform != "win32" else None
    stderr = None if said is None else said.writer
    kernels = PageKernels(
        root_dir=str(serving.folder),
        connection_dir=str(between.path),
        kernel_manager_class="coreward.app.kernels.PageKernel",
        config=Config({"MappingKernelManager": {"cull_idle_timeout": 0}}),
        allowed_message_types=sorted(messages.ALLOWED),
    )
    if serving.copies:
        kernels.seed = Seed(stderr)
        await kernels.seed.start()
    memory_each = MEMORY_OF_A_COPY if serving.copies else MEMORY_ON_ITS_OWN
    fitting = sessions_that_fit(psutil.virtual_memory().available, memory_each)
    places, most_connections = share_files(allow_files(), serving.most or fitting)
    given = {"abandoned_s": serving.abandoned_s, "idle_s": serving.idle_s}
    sessions = Sessions(
        kernels,
        serving.folder,
        most=places,
        memory_each=memory_each,
        caches=serving.caches,
        stderr=stderr,
        home=serving.home,
        **{name: value for name, value in given.items() if value is not None},
    )
    connections = Connections(most_connections)
    app = App(serving, sessions, connections, drawing)
    identity = TokenIdentity(token=serving.token)
    identity.visitor_cookie = f"coreward-visitor-{serving.port}"
    logger = logging.getLogger("coreward.app")
    application = web.Application(
        _routes(drawing),
        default_handler_class=_Missing,
        coreward_app=app,
        base_url="/",
        kernel_manager=kernels,
        kernel_websocket_connection_class=FencedConnection,
        identity_provider=identity,
        authorizer=AllowAllAuthorizer(identity_provider=identity),
        cookie_secret=secrets.token_bytes(32),
        websocket_max_message_size=messages.LARGEST,
        log_function=lambda handler: logger.debug("%s", handler._request_summary()),
    )
    # Pictures are large and come fast while a slider is dragged: no cap on that.
    kernels.config.ZMQChannelsWebsocketConnection.limit_rate = False
    listening = bounded_server(application, messages.LARGEST)
    listening.bind_and_listen(serving.port, serving.host, connections)
    sweeping = asyncio.create_task(sessions.sweep())
    try:
        if app.at_home:
            await sessions.prepare(FRONT)
        if ready is not None:
            await ready(sessions.most)
        await asyncio.Event().wait()
    finally:
        listening.stop()
        sweeping.cancel()
        await sessions.close()
        if app.lab is not None:
            await app.lab.stop()
        if kernels.seed is not None:
            await kernels.seed.stop()
        if said is not None:
            said.close()
        between.remove()
