"""What the page fetches: the prop's shape, its light and figures, pictures, results; and what is
dropped on it."""

from __future__ import annotations

import json
import mimetypes

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, JSONResponse, Response

from glowsim.calibration.image import UnreadableError
from glowsim.errors import GlowsimError
from glowsim.live.page import Page
from glowsim.live.photos import as_jpeg

_BYTES = "application/octet-stream"
_FRESH = {"Cache-Control": "no-store"}
_INERT = {"Content-Security-Policy": "sandbox", **_FRESH}
"""A result is shown, and may do nothing."""


def add_data(app: FastAPI, page: Page) -> None:
    """Add the ways to fetch all that."""
    _add_light(app, page)
    _add_files(app, page)


def _add_light(app: FastAPI, page: Page) -> None:
    @app.get("/live/shape/{key}")
    def shape(key: str) -> Response:
        seen = page.session.seen if page.session else None
        if seen is None or seen.skin.key != key:
            return Response(status_code=404)
        return Response(seen.skin.shape_bytes, media_type=_BYTES, headers=_FRESH)

    @app.get("/live/light")
    def light(known: str = "", have: int = 0) -> Response:
        seen = page.session.seen if page.session else None
        if seen is None:
            return Response(status_code=204)
        part, values = seen.for_page(known, have)
        heading = part | {
            "number": seen.number,
            "full": seen.full,
            "shape": seen.skin.key,
            "exposure": seen.exposure_cd_m2,
            "scale": seen.scale,
            "limb": seen.limb,
            "around": seen.around_key,
        }
        # One line of JSON, filled up so that the numbers after it start at a whole one.
        line = json.dumps(heading).encode()
        line += b" " * (-(len(line) + 1) % 4) + b"\n"
        return Response(line + values, media_type=_BYTES, headers=_FRESH)

    @app.get("/live/pulse")
    def pulse() -> Response:
        if page.pulsing is None:
            return Response(status_code=404)
        return Response(page.pulsing.data, media_type=_BYTES, headers=_FRESH)

    @app.get("/live/figures")
    def figures() -> Response:
        session = page.session
        if session is None:
            return Response(status_code=404)
        told = {"rests": session.rests, "error": session.error}
        return JSONResponse(session.figures.as_json() | told, headers=_FRESH)


def _add_files(app: FastAPI, page: Page) -> None:
    @app.get("/live/try/{number}")
    def picture(number: int) -> Response:
        tries = page.session.tries if page.session else None
        if tries is None or not any(one.number == number for one in tries.kept):
            return Response(status_code=404)
        try:
            return Response(tries.picture(number).read_bytes(), media_type="image/png")
        except OSError:
            return Response(status_code=404)

    @app.get("/live/photo/{k}/{shot}")
    def photo(k: int, shot: int) -> Response:
        points = page.points
        if points is None or not 0 <= k < len(points.subjects):
            return Response(status_code=404)
        if not 0 <= shot < len(points.shots(k)):
            return Response(status_code=404)
        try:
            data = as_jpeg(points.frame(k, shot))
        except UnreadableError:
            return Response(status_code=404)
        return Response(data, media_type="image/jpeg", headers=_FRESH)

    @app.get("/live/made/{number}/{k}/{name}")
    def made(number: int, k: int, name: str) -> Response:
        files = page.works.made[number].to_open if number in page.works.made else ()
        if not 0 <= k < len(files) or not files[k].is_file():
            return Response(status_code=404)
        kind = mimetypes.guess_type(files[k].name)[0] or "text/plain"
        headers = _FRESH if kind == "application/pdf" else _INERT
        return FileResponse(files[k], media_type=kind, headers=headers)

    @app.put("/live/mesh")
    async def mesh(name: str, request: Request) -> Response:
        if page.beginning is None or page.session is not None:
            return JSONResponse({"error": "a scene is open already"}, 409)
        try:
            return JSONResponse(await page.beginning.take(name, request.stream()))
        except GlowsimError as problem:
            return JSONResponse({"error": str(problem)}, 400)
