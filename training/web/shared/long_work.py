"""Long work with a progress page, which is streamed while the work goes on.

It needs no script, no second request and no other process. If the user leaves the page or presses Stop, the
connection closes and the work ends at its next step; it must then have saved nothing.
"""

import logging
import time
from collections.abc import Iterator
from dataclasses import dataclass

from django.http import HttpRequest, StreamingHttpResponse
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

log = logging.getLogger(__name__)
#: Seconds between two progress lines.
PAUSE = 0.2
_HERE = "<!--the work-->"


@dataclass(frozen=True, slots=True)
class Step:
    """``done`` of ``total``; None if the total is not known."""

    done: int = 0
    total: int | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """The last step: the message, and the URL of the next page."""

    words: str
    address: str
    onward: str
    well: bool = True


def page(
    request: HttpRequest, work: Iterator[Step | Ended], *, title: str, says: str, stop: str = ""
) -> StreamingHttpResponse:
    """The page that shows ``work``, whose last step is an ``Ended``.

    ``stop`` is the URL behind the Stop link; without it there is none, for work that cannot be stopped.

    An exception in ``work`` is logged, and the page shows no details.
    """
    language = translation.get_language()
    told = {"title": title, "says": says, "stop": stop, "here": _HERE}
    before, _here, after = render_to_string("training/working.html", told, request).partition(_HERE)

    def written() -> Iterator[str]:
        yield before
        with translation.override(language):
            yield from _steps(work, says)
        yield after

    response = StreamingHttpResponse(written())
    response["X-Accel-Buffering"] = "no"  # a proxy that buffers the whole page would show no progress
    return response


def _steps(work: Iterator[Step | Ended], says: str) -> Iterator[str]:
    shown = 0.0
    try:
        for each in work:
            if isinstance(each, Ended):
                yield render_to_string("training/working_ended.html", {"ended": each})
            elif not shown or time.monotonic() - shown >= PAUSE:
                shown = time.monotonic()
                yield render_to_string("training/working_step.html", {"step": each, "says": says})
    except Exception:
        log.exception("the work broke off")
        broke = _(
            "Not completed, and nothing was saved. The error is ours and has been logged. Try again later."
        )
        yield render_to_string("training/working_ended.html", {"broke": broke})
