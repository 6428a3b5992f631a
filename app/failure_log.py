"""How is an unforeseen failure written into the log, without what a visitor typed?

Messages of errors quote values: names, notes, links, cells of a log. So the log holds kinds of
errors and places in the code, the cause first, and no message.
"""

import logging
import traceback

_LOG = logging.getLogger("crestline")
_MOST_CAUSES = 10


def log_failure(words: str, error: BaseException) -> None:
    """Write down a failure with its stack.

    Parameters
    ----------
    words : str
        What failed, with the number that the visitor is told.
    error : BaseException
        What was raised.
    """
    _LOG.error("%s\n%s", words, "\n".join(_stack(error)))


def _stack(error: BaseException) -> list[str]:
    causes: list[BaseException] = []
    at: BaseException | None = error
    while at is not None and len(causes) < _MOST_CAUSES:
        causes.append(at)
        at = at.__cause__ or (None if at.__suppress_context__ else at.__context__)
    lines = []
    for each in reversed(causes):
        lines += [
            f"  {frame.filename}:{frame.lineno} in {frame.name}"
            for frame in traceback.extract_tb(each.__traceback__)
        ]
        lines.append(f"{type(each).__module__}.{type(each).__qualname__}")
    return lines
