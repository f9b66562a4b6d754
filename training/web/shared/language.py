"""In which language a page is written: that of the person's profile, else the browser's, of those there are.

Pages, forms, the tablet's scripts and the engine's reasons are English texts that gettext may replace. What
is data stays as it is in any language: the rules' words and citations, what is sealed, what people wrote, the
API's messages.
"""

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.locale import LocaleMiddleware
from django.utils import translation
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe
from django.views.i18n import JavaScriptCatalog

from training.models import User
from training.services.reminders import preferences


class OwnLanguage(LocaleMiddleware):
    """Middleware, after the one that knows the user. With one language alone there is nothing to look up."""

    def process_request(self, request: HttpRequest) -> None:
        super().process_request(request)
        if len(settings.LANGUAGES) > 1 and isinstance(request.user, User):
            translation.activate(preferences.of(request.user).language)
            request.LANGUAGE_CODE = translation.get_language()  # type: ignore[attr-defined]


def of_address(language: str) -> translation.override:
    """For as long as it holds, the language that an address names; one that there is not is English."""
    return translation.override(language if language in dict(settings.LANGUAGES) else settings.LANGUAGE_CODE)


@require_safe
@cache_control(public=True, max_age=600)
def words(request: HttpRequest, language: str) -> HttpResponseBase:
    """The texts of the scripts: what ``makemessages -d djangojs`` found in them, in that language."""
    with of_address(language):
        return JavaScriptCatalog.as_view(packages=["training"])(request)
