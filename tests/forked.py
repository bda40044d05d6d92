"""The command line in a process of its own, forked off this one.

It ends, is killed and hears signals as any process does, and pays no imports a second time.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable, Sequence
from typing import IO, NamedTuple

import pytest

from orient import cli

needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes forked off this one")


class Ended(NamedTuple):
    status: int
    out: str
    err: str


class Forked:
    """A running child; standard streams not given are those of the test run."""

    def __init__(
        self,
        arguments: Sequence[str],
        stdin: int = 0,
        stdout: int = 1,
        stderr: int = 2,
        before: Callable[[], None] = lambda: None,
        encoding: str = "utf-8",
    ) -> None:
        """Begin `orient ARGUMENTS` on file descriptors; `before` runs in the child, first.

        `encoding` is the console's.
        """
        sys.stdout.flush()
        self.status: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            os._exit(_child(arguments, (stdin, stdout, stderr), before, encoding))

    def send_signal(self, number: int) -> None:
        os.kill(self.pid, number)

    def wait(self) -> int:
        """The exit status, minus the number of the signal that ended it."""
        if self.status is None:
            self.status = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return self.status

    def end(self) -> None:
        if self.status is None:
            self.send_signal(signal.SIGKILL)
            self.wait()


def _child(
    arguments: Sequence[str],
    streams: tuple[int, int, int],
    before: Callable[[], None],
    encoding: str,
) -> int:
    status = 70
    try:
        for number in (signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_DFL)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        for number, stream in enumerate(streams):
            if stream != number:
                os.dup2(stream, number)
        os.closerange(3, 256)  # a pipe's other end, kept open here too, would never end
        sys.stdin, sys.stdout, sys.stderr = (
            open(number, mode, encoding=encoding, buffering=1)  # noqa: SIM115
            for number, mode in enumerate(("r", "w", "w"))
        )
        sys.argv = ["orient", *arguments]
        before()
        cli.main()
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else 1
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
    return status


def forked(
    arguments: Sequence[str],
    before: Callable[[], None] = lambda: None,
    encoding: str = "utf-8",
    read_as: str = "utf-8",
) -> Ended:
    """Run a command to its end."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        status = Forked(arguments, 0, out.fileno(), err.fileno(), before, encoding).wait()
        return Ended(status, *(_whole(each, read_as) for each in (out, err)))


def _whole(file: IO[bytes], encoding: str) -> str:
    file.seek(0)
    return file.read().decode(encoding)
