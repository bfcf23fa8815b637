"""Serves the page of one session on this machine alone, until it is stopped."""

from __future__ import annotations

import errno
import os
import socket
import sys
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from nicegui import app as nicegui_app
from nicegui import ui

from glowsim.errors import GlowsimError
from glowsim.geometry.meshfile import FORMATS
from glowsim.live.begin_view import Beginning
from glowsim.live.data import add_data
from glowsim.live.guard import HOST, Guard, new_token
from glowsim.live.page import Page
from glowsim.live.photo_points import PhotoPoints, is_readings
from glowsim.live.session import Session
from glowsim.transport.prepared import PreparedProp

LEAVE_S = 1
"""How long pages are given to take leave."""


class Server:
    """The page and the address it is served at."""

    def __init__(self, scene: Path | None, port: int = 0) -> None:
        """Open a scene or a readings file, or begin in the present folder: with a mesh file, or
        with nothing.

        port : any free one for 0
        Raises SceneError or MaterialError for the scene, ReadingsError for readings, GeometryError
        for the mesh, GlowsimError for a port in use.
        """
        if scene is None or scene.suffix[1:].lower() in FORMATS:
            self.page = Page(None, Beginning(Path(), scene, self._opened))
        elif is_readings(scene):
            self.page = Page(None, points=PhotoPoints(scene))
        else:
            self.page = Page(Session(scene, begun=False))
        self._socket = bound(port)
        self.port = int(self._socket.getsockname()[1])
        self.token = new_token()
        # Not before: as it starts, the page's library looks at every object of the program, which
        # a thread that is just making one does not bear.
        nicegui_app.on_startup(self.page.begin)
        app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
        add_data(app, self.page)
        ui.run_with(
            app,
            root=self.page.build,
            title="glowsim live",
            dark=None,
            reconnect_timeout=30.0,
            show_welcome_message=False,
            binding_refresh_interval=1.0,
            gzip_middleware_factory=None,
            tailwind=False,
        )
        guarded = Guard(app, self.token, self.port)
        config = uvicorn.Config(
            guarded,
            log_level="error",
            access_log=False,
            lifespan="on",
            ws="websockets-sansio",
            timeout_graceful_shutdown=LEAVE_S,
        )
        self._server = uvicorn.Server(config)
        self._ended = True

    def _opened(self, scene: Path, kept: PreparedProp) -> None:
        self.page.opened(scene, kept)

    @property
    def address(self) -> str:
        """The address to open."""
        return f"http://{HOST}:{self.port}/?token={self.token}"

    def run(self) -> None:
        """Serve until Ctrl-C."""
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self._ended = self.page.close()

    def leave(self) -> None:
        """End the program where work goes on that does not heed being given up, such as a long
        search between two reports: the interpreter would wait for it."""
        if not self._ended:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(0)

    def stop(self) -> None:
        """Make `run` return."""
        self._server.should_exit = True


def bound(port: int) -> socket.socket:
    """Return a socket on a port of this machine, any free one for 0; raises GlowsimError."""
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
