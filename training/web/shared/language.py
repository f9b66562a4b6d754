"""The language of a page: that of the user's profile, else the browser's, of those installed.

gettext translates pages, forms, the tablet's scripts and the engine's reasons. Data stay as they are in every
language: the rules' words and citations, signed content, what people wrote, the API's messages.
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
    """Middleware, after the one that knows the user. With one language it does nothing."""

    def process_request(self, request: HttpRequest) -> None:
        super().process_request(request)
        if len(settings.LANGUAGES) > 1 and isinstance(request.user, User):
            translation.activate(preferences.of(request.user).language)
            request.LANGUAGE_CODE = translation.get_language()  # type: ignore[attr-defined]


def of_address(language: str) -> translation.override:
    """Activate the language in a URL inside the ``with`` block; an unknown one means English."""
    return translation.override(language if language in dict(settings.LANGUAGES) else settings.LANGUAGE_CODE)


@require_safe
@cache_control(public=True, max_age=600)
def words(request: HttpRequest, language: str) -> HttpResponseBase:
    """Translations of the scripts' texts (``makemessages -d djangojs``)."""
    with of_address(language):
        return JavaScriptCatalog.as_view(packages=["training"])(request)
