"""Commands in the background of the page: what they say, what they made, giving them up."""

from __future__ import annotations

import threading
import time
from types import SimpleNamespace

import pytest

from glowsim.errors import GlowsimError, SceneError
from glowsim.live.background import Command, made_of, said
from glowsim.live.lane import SupersededError
from glowsim.live.offering import Offer
from glowsim.live.session import Session
from glowsim.live.works import Works
from tests.live.props import write_scene


def test_a_progress_line_is_read_without_what_draws_it():
    piece = (
        "\x1b[?25l\r\x1b[2K\u2838 shaping bud\r\n\x1b[32mdrawing \u2501\u2501\u2578  33% 0:00:01\n"
    )
    assert said(piece.encode()) == "shaping bud\ndrawing 33% 0:00:01"


def test_files_stand_after_the_word_written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = made_of("a sheet", "\x1b[1mTable\x1b[0m\nWritten:\n  a/sheet.pdf\n  a/bud.stl\n")
    assert made.text == "Table"
    assert made.files == (tmp_path / "a" / "sheet.pdf", tmp_path / "a" / "bud.stl")
    assert made.to_open == made.files[:1]
    assert made_of("a turntable", "Written: t.webp\n").files == (tmp_path / "t.webp",)


def test_one_thing_at_a_time_and_faults_are_told():
    changes = []
    works = Works(lambda: changes.append(works.doing))
    go = threading.Event()

    def work(report):
        report("half way")
        go.wait(10)
        raise GlowsimError("no more foam")

    works.start("sawing", work)
    with pytest.raises(GlowsimError, match="one thing at a time: sawing"):
        works.start("glueing", work)
    go.set()
    assert works.wait(10)
    assert "half way" in changes
    assert works.news == (1, "no more foam")


def test_what_is_offered_is_taken_or_left_and_refused_once_the_prop_is_another():
    put_in = []

    def instead(of, words, was, prop):
        put_in.append((was, prop))
        return session.now == was

    session = SimpleNamespace(now="drawn", instead=instead)
    works = Works(lambda: None)
    works.offer = Offer(session, "drawn", "even", "ten boards would make it even")
    assert works.offer.holds
    works.leave_offer()
    works.take_offer()
    assert (put_in, works.news) == ([], (0, ""))
    works.offer = Offer(session, "drawn", "even", "")
    works.take_offer()
    assert put_in == [("drawn", "even")]
    assert works.news == (1, "put in; undo takes it back")
    works.offer = Offer(session, "drawn", "even", "")
    session.now = "another"
    assert not works.offer.holds
    with pytest.raises(SceneError, match="changed"):
        works.take_offer()
    assert works.offer is None


def test_what_is_given_up_ends_at_its_next_report():
    works = Works(lambda: None)

    def work(report):
        while True:
            report("still")
            time.sleep(0.01)

    works.start("sanding", work)
    works.give_up()
    assert works.wait(10)
    assert works.news[1] == "sanding: given up"


@pytest.fixture
def scene(tmp_path, monkeypatch):
    """Return the test prop in a folder of its own, which is the present one."""
    monkeypatch.chdir(tmp_path)
    return write_scene(tmp_path)


@pytest.mark.slow
def test_results_land_where_the_command_puts_them(scene):
    said_so = []
    made = Command("a turntable", ["turntable", scene.name, "--frames", "3"]).run(said_so.append)
    assert made.files == (scene.parent / "bud-glow" / "turntable.webp",)
    assert made.files[0].is_file()
    assert any("drawing" in words for words in said_so)
    with pytest.raises(GlowsimError, match=r"a sheet: .*no such file"):
        Command("a sheet", ["sheet", "nothing.toml"]).run(said_so.append)


@pytest.mark.slow
def test_a_command_given_up_leaves_nothing_half_made(scene):
    command = Command("a turntable", ["turntable", scene.name, "--frames", "360"])

    def stop_once_it_draws(words):
        if "drawing" in words:
            command.give_up()

    with pytest.raises(SupersededError):
        command.run(stop_once_it_draws)
    assert not list(scene.parent.glob("**/*.webp"))


@pytest.mark.slow
def test_the_sure_answer_says_what_it_changes(scene, monkeypatch):
    monkeypatch.setattr("glowsim.live.works.SURE_S", 5)
    session = Session(scene, begun=False)
    works = Works(lambda: None)
    works.make_sure(session)
    assert works.wait(300)
    (made,) = works.made.values()
    told = works.news[1]
    assert told.startswith("bud: ")
    assert "by the reference" in told
    assert told in made.text
    assert "single places are known to" in made.text
    session.close()
