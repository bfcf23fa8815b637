"""What may be fetched from the page, and what may not."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from glowsim.errors import GeometryError
from glowsim.live.background import Made
from glowsim.live.data import add_data


class Beginning:
    """Takes no mesh that is called 'large'."""

    async def take(self, name, pieces):
        size = sum([len(piece) async for piece in pieces])
        if name == "large.stl":
            raise GeometryError("large.stl is too large")
        return {"name": name, "size": size}


@pytest.fixture
def page(tmp_path):
    sheet, solid = tmp_path / "sheet.html", tmp_path / "bud.stl"
    sheet.write_text("<script>caught = 1</script>")
    solid.write_text("solid")
    made = {3: Made("a sheet", "", (solid, sheet))}
    return SimpleNamespace(
        session=None, pulsing=None, beginning=Beginning(), works=SimpleNamespace(made=made)
    )


@pytest.fixture
def client(page):
    app = FastAPI()
    add_data(app, page)
    return TestClient(app)


def test_results_are_shown_and_may_do_nothing(client):
    answer = client.get("/live/made/3/0/sheet.html")
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"] == "sandbox"


@pytest.mark.parametrize(
    "path",
    ["3/1/bud.stl", "3/-1/sheet.html", "2/0/sheet.html", "3/0/../../../etc/passwd", "3/9/x"],
)
def test_nothing_else_can_be_fetched(client, path):
    assert client.get(f"/live/made/{path}").status_code == 404


@pytest.mark.parametrize("what", ["light", "shape/x", "pulse", "figures", "try/1"])
def test_without_a_scene_there_is_nothing(client, what):
    answer = client.get(f"/live/{what}")
    assert answer.status_code in (204, 404)
    assert answer.content == b""


def test_a_mesh_is_taken_while_there_is_no_scene(client, page):
    told = client.put("/live/mesh?name=horn.stl", content=b"12345")
    assert told.json() == {"name": "horn.stl", "size": 5}
    large = client.put("/live/mesh?name=large.stl", content=b"1")
    assert (large.status_code, large.json()) == (400, {"error": "large.stl is too large"})
    page.session = object()
    assert client.put("/live/mesh?name=horn.stl", content=b"1").status_code == 409
