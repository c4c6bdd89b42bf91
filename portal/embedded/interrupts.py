"""What Ctrl-C, a polite end and a closed terminal mean to a supervisor."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

__all__ = ["interruptible", "undisturbed"]

_ENDING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


@contextmanager
def _handled(
    numbers: tuple[signal.Signals, ...],
    handler: Callable[[int, FrameType | None], None] | signal.Handlers,
) -> Iterator[None]:
    before = {number: signal.signal(number, handler) for number in numbers}
    try:
        yield
    finally:
        for number, earlier in before.items():
            signal.signal(number, earlier)


@contextmanager
def interruptible() -> Iterator[None]:
    """Make SIGTERM and a closed terminal end the block as Ctrl-C does.

    SIGINT is named too: a shell starts its background jobs with it ignored, and
    Python then leaves it so.
    """
    with _handled(_ENDING, _interrupt):
        yield


@contextmanager
def undisturbed() -> Iterator[None]:
    """Let an impatient second Ctrl-C not cut the stopping short."""
    with _handled(_ENDING, signal.SIG_IGN):
        yield
