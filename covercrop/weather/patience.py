"""Waiting on the network: with a time limit, and listening to what the client only logs."""

from __future__ import annotations

import http.client
import logging
import socket
import threading
import urllib.request
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

Result = TypeVar("Result")

#: Seconds that one answer may take.
ANSWER_LIMIT = 6.0
#: Longest file of days that is read [byte]: one year takes about 12 000.
LONGEST_ANSWER = 2**18

# A request that was left may fail later, with nobody listening; without a handler its traceback would be printed.
logging.getLogger("meteostat").addHandler(logging.NullHandler())


class NoAnswerError(Exception):
    """The server did not answer, or not in time."""


class TooLongError(Exception):
    """The answer has no end, or none that a file of days can have."""


class _Limited(urllib.request.BaseHandler):
    """Reads no more of an answer than a file of days can hold: one without end would fill the memory."""

    def http_response(self, _: urllib.request.Request, response: Any) -> Any:
        read = response.read

        def limited(amount: int | None = None) -> bytes:
            body: bytes = read(LONGEST_ANSWER + 1 if amount is None else amount)
            if len(body) > LONGEST_ANSWER:
                raise TooLongError
            if amount is None and response.length:  # announced, and not sent
                raise http.client.IncompleteRead(body, response.length)
            return body

        response.read = limited
        return response

    https_response = http_response


@dataclass(frozen=True, slots=True)
class Heard:
    """What the client logged.

    Attributes
    ----------
    message : str
    error : type or None
        The kind of exception that it met; the exception itself would keep a connection open.
    absent : bool
        Whether it only says that the server has no such file.
    """

    message: str
    error: type[BaseException] | None = None
    absent: bool = False


@contextmanager
def listening() -> Iterator[list[Heard]]:
    """Collect what the client logs as a warning or worse, and give its requests the limits it does not set.

    That there is no file for a year it tells as a mere information; without
    it no rows are as good as an empty file.  Deprecation warnings of the
    client are none of the user's business.
    """
    heard: list[Heard] = []
    # A request that was left before may fail while another is being made, and says nothing of that.
    left = {thread.name for thread in threading.enumerate()} - {threading.current_thread().name}

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            if record.threadName in left:
                return
            message, absent = record.getMessage(), record.levelno < logging.WARNING
            if not absent or message.endswith("was not found"):
                heard.append(Heard(message, record.exc_info[0] if record.exc_info else None, absent))

    logger = logging.getLogger("meteostat")
    listener = Listener(logging.INFO)
    propagate, level, limit = logger.propagate, logger.level, socket.getdefaulttimeout()
    logger.addHandler(listener)
    logger.propagate = False
    logger.setLevel(logging.INFO)
    socket.setdefaulttimeout(ANSWER_LIMIT)
    opener = getattr(urllib.request, "_opener", None)
    if opener is None:  # one that the program around this one has installed knows best
        urllib.request.install_opener(urllib.request.build_opener(_Limited))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield heard
    finally:
        setattr(urllib.request, "_opener", opener)  # noqa: B010
        socket.setdefaulttimeout(limit)
        logger.setLevel(level)
        logger.propagate = propagate
        logger.removeHandler(listener)


def within(seconds: float, call: Callable[[], Result]) -> Result:
    """The result of a call that may not take longer; its thread is left behind if it does."""
    outcome: list[Result] = []
    problem: list[Exception] = []

    def run() -> None:
        try:
            outcome.append(call())
        except Exception as error:
            problem.append(error)

    worker = threading.Thread(target=run, daemon=True)
    worker.start()
    worker.join(seconds)
    if worker.is_alive():
        raise NoAnswerError
    if problem:
        raise problem.pop()
    return outcome[0]
