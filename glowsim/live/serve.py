"""Serves the page of one session on this machine alone, until it is stopped."""

from __future__ import annotations

import errno
import json
import socket
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from fastapi.responses import JSONResponse, Response
from nicegui import app as nicegui_app
from nicegui import ui

from glowsim.errors import GlowsimError
from glowsim.live.guard import HOST, Guard, new_token
from glowsim.live.page import Page
from glowsim.live.session import Session

_BYTES = "application/octet-stream"
_FRESH = {"Cache-Control": "no-store"}


class Server:
    """A session and the address it is served at."""

    def __init__(self, scene: Path, port: int = 0) -> None:
        """Open the scene and take a port, any free one for 0.

        Raises SceneError or MaterialError for the scene, GlowsimError for a port in use.
        """
        self.session = Session(scene, begun=False)
        self._socket = _bound(port)
        self.port = int(self._socket.getsockname()[1])
        self.token = new_token()
        self._page = Page(self.session)
        # Not before: as it starts, the page's library looks at every object of the program, which
        # a thread that is just making one does not bear.
        nicegui_app.on_startup(self.session.begin)
        app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
        _add_data(app, self.session)
        ui.run_with(
            app,
            root=self._page.build,
            title="glowsim live",
            dark=True,
            reconnect_timeout=30.0,
            show_welcome_message=False,
            binding_refresh_interval=1.0,
            gzip_middleware_factory=None,
            tailwind=False,
        )
        guarded = Guard(app, self.token, self.port)
        config = uvicorn.Config(
            guarded, log_level="error", access_log=False, lifespan="on", ws="websockets-sansio"
        )
        self._server = uvicorn.Server(config)

    @property
    def address(self) -> str:
        """The address to open."""
        return f"http://{HOST}:{self.port}/?token={self.token}"

    def run(self) -> None:
        """Serve until Ctrl-C."""
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self.session.close()

    def stop(self) -> None:
        """Make `run` return."""
        self._server.should_exit = True


def _bound(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if port:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
    except OSError as problem:
        listening.close()
        words = "is in use" if problem.errno == errno.EADDRINUSE else f"cannot be used: {problem}"
        raise GlowsimError(
            f"port {port} {words}; give another with --port, or leave it out for any that is free"
        ) from None
    return listening


def _add_data(app: FastAPI, session: Session) -> None:
    """Add what the page fetches: the prop's shape, its light, its figures, pictures of tries."""

    @app.get("/live/shape/{key}")
    def shape(key: str) -> Response:
        seen = session.seen
        if seen is None or seen.skin.key != key:
            return Response(status_code=404)
        return Response(seen.skin.shape_bytes, media_type=_BYTES, headers=_FRESH)

    @app.get("/live/light")
    def light() -> Response:
        seen = session.seen
        if seen is None:
            return Response(status_code=204)
        heading = {
            "number": seen.number,
            "full": seen.full,
            "shape": seen.skin.key,
            "exposure": seen.exposure_cd_m2,
            "scale": seen.scale,
            "limb": seen.limb,
        }
        # One line of JSON, filled up so that the numbers after it start at a whole one.
        line = json.dumps(heading).encode()
        line += b" " * (-(len(line) + 1) % 4) + b"\n"
        return Response(line + seen.light, media_type=_BYTES, headers=_FRESH)

    @app.get("/live/figures")
    def figures() -> Response:
        told = {"rests": session.rests, "error": session.error}
        return JSONResponse(session.figures.as_json() | told, headers=_FRESH)

    @app.get("/live/try/{number}")
    def picture(number: int) -> Response:
        if not any(one.number == number for one in session.tries.kept):
            return Response(status_code=404)
        try:
            return Response(session.tries.picture(number).read_bytes(), media_type="image/png")
        except OSError:
            return Response(status_code=404)
