"""Two views, open to everyone: the contents of the help with its search, and one page."""

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from training.web.help import library
from training.web.shared.forms import Search
from training.web.shared.opening import show

MOST_TEXT = 200


@require_safe
def contents(request: HttpRequest) -> HttpResponse:
    """All pages by reader, or those that contain every word of ``q``."""
    form, asked = Search.of(request, _("Search help (all words must match)"), most=MOST_TEXT)
    told = {
        "form": form,
        "asked": asked,
        "found": library.find(asked),
        "groups": list(library.groups()),
    }
    return show(request, "training/help/contents.html", told)


@require_safe
def page(request: HttpRequest, reader: str, slug: str) -> HttpResponse:
    opened = library.page(reader, slug)
    if opened is None:
        raise Http404("no help page of that name")
    told = {
        "page": opened,
        "html": opened.html(),
        "reader": library.READERS[reader],
        "siblings": [each for each in library.PAGES if each.reader == reader],
    }
    return show(request, "training/help/page.html", told)
