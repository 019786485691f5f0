"""Standard output and standard error, which may be full, closed or unable to hold a letter."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout, suppress
from typing import IO, Any, TextIO, cast

from covercrop.base.errors import OutputError, one_line


class _Told:
    """A stream whose troubles are said in one line; in everything else it is the stream."""

    def __init__(self, stream: IO[Any] | None) -> None:
        self._stream = stream

    def write(self, text: Any) -> int:
        with _in_words(self._stream) as stream:
            return stream.write(text)

    def flush(self) -> None:
        if self._stream is not None:  # nothing was written to it
            with _in_words(self._stream) as stream:
                stream.flush()

    @property
    def buffer(self) -> _Told:
        return _Told(None if self._stream is None else cast("TextIO", self._stream).buffer)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def _in_words(stream: IO[Any] | None) -> Iterator[IO[Any]]:
    if stream is None:
        raise OutputError("standard output is closed; leave it open, or send it to a file")
    try:
        yield stream
    except BrokenPipeError:  # a reader that has gone; no trouble to tell
        raise
    except UnicodeEncodeError as error:
        raise OutputError(
            f"standard output is in {error.encoding}, which has no {error.object[error.start]!r}; "
            "set PYTHONIOENCODING=utf-8"
        ) from None
    except OSError as error:
        raise OutputError(
            f"standard output cannot be written ({error.strerror}); the answer is not whole, send it elsewhere"
        ) from None


@contextmanager
def told_output() -> Iterator[None]:
    """Let every trouble with standard output be an error like any other, wherever it is written to.

    Raises
    ------
    OutputError
        From whatever writes, and at the end, if not everything could be written.
    BrokenPipeError
        If its reader has gone.
    """
    out = _Told(sys.stdout)
    # Where standard error is closed, Python and argparse print to standard output what was meant for it.
    with redirect_stdout(cast("TextIO", out)), redirect_stderr(sys.stderr or io.StringIO()):
        try:
            yield
        except SystemExit:  # of --help, which has printed
            out.flush()
            raise
        out.flush()


def tell(message: str) -> None:
    """A line on standard error; where that cannot be written, the exit status has to say it alone."""
    if sys.stderr is not None:
        with suppress(OSError):
            sys.stderr.write(one_line(message) + "\n")


def let_go() -> None:
    """Drop what a stream can no longer take, so that the end of the program does not stumble over it."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):
            with suppress(OSError, ValueError):  # a stream of a test has no number
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
