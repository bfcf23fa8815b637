"""Runs the command line: exit codes, errors in the user's words, Ctrl-C at any moment."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

INTERRUPTED = 130
_BLAS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
_SHOW_CURSOR = b"\x1b[?25h"


def main() -> None:
    """Run the command line: exit code 0 for success, 2 for bad input, 130 for Ctrl-C or `kill`."""
    with _ctrl_c_heeded():
        _print_what_can_be()
        _one_thread_for_small_systems()
        status = _run()
    sys.exit(status if isinstance(status, int) else 0)


def _run() -> Any:
    # Imported here, where Ctrl-C is heeded already: it takes a while.
    import click

    from glowsim.cli.group import cli
    from glowsim.errors import GlowsimError, cut_short

    try:
        return cli.main(standalone_mode=False)
    except click.exceptions.Abort as stop:
        # What was interrupted may have said what it kept.
        _say(str(stop.__cause__ or "") or "stopped")
        return INTERRUPTED
    except KeyboardInterrupt as stop:
        _say(str(stop) or "stopped")
        return INTERRUPTED
    except click.ClickException as problem:
        vars(problem)["message"] = cut_short(problem.message)  # what it echoes may be long
        problem.show()
        return problem.exit_code
    except GlowsimError as problem:
        _say(str(problem))
        return 2
    except OSError as problem:
        # A full disk, a folder that may not be written: the place and the system's own words.
        where = problem.filename or "what is printed"
        _say(f"{where}: cannot be written or read: {problem.strerror or problem}")
        return 2


def _say(text: str) -> None:
    import click

    click.echo(f"glowsim: {text}" if "\n" not in text else f"glowsim:\n{text}", err=True)


def _one_thread_for_small_systems() -> None:
    """Let the linear algebra of small dense systems run on one thread, unless the user set it.

    Its threads wait for each other by spinning, which took a third of all processor time; they
    are counted when numpy is imported, so this comes first. The program's own threads stay.
    """
    if "OMP_NUM_THREADS" not in os.environ:
        for name in _BLAS:
            os.environ.setdefault(name, "1")


def _print_what_can_be() -> None:
    """Let a screen that lacks a sign show '?' for it, where Python would give up."""
    for stream in (sys.stdout, sys.stderr):
        if reconfigure := getattr(stream, "reconfigure", None):
            reconfigure(errors="replace")


@contextmanager
def _ctrl_c_heeded() -> Iterator[None]:
    """Stop by Ctrl-C during imports too, where libraries drop an exception of that kind, and at
    once when it is pressed again, where threads first end what they are at; take being told to
    end (`kill`, `timeout`, a machine that goes down) for Ctrl-C."""
    usual = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if not usual or threading.current_thread() is not threading.main_thread():
        yield  # ignored in the background, or someone else's to decide
        return
    signal.signal(signal.SIGINT, _Stop())
    told = signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
    if told:
        signal.signal(signal.SIGTERM, lambda *_: signal.raise_signal(signal.SIGINT))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        if told:
            signal.signal(signal.SIGTERM, signal.SIG_DFL)


class _Stop:
    """What Ctrl-C does: an exception the first time, the end where the program stands the next.

    That is safe: files are written beside their places, and what a killed program leaves there is
    put right by the next one.
    """

    def __init__(self) -> None:
        self._asked = False

    def __call__(self, number: int, frame: FrameType | None) -> None:
        # Nothing is half written by an import either.
        if self._asked or _imports(frame):
            words = _SHOW_CURSOR * sys.stderr.isatty() + b"glowsim: stopped\n"
            os.write(2, words)
            os._exit(INTERRUPTED)
        self._asked = True
        signal.default_int_handler(number, frame)


def _imports(frame: FrameType | None) -> bool:
    """Return whether a frame, or one of those that called it, imports a module."""
    while frame is not None:
        if frame.f_code.co_filename == "<frozen importlib._bootstrap>":
            return True
        frame = frame.f_back
    return False
