"""Loads what the first request would wait for, before a server takes any: no query, no request."""

from pathlib import Path

from django.conf import settings
from django.template.loader import get_template
from django.urls import get_resolver
from django.utils.module_loading import import_string

from syllabus.engine.places import geography
from syllabus.law import rulebook

TEMPLATES = Path(settings.BASE_DIR) / "training" / "web" / "templates"


def up() -> None:
    """Read the rules and the airports, every address with its view, and every template of our own."""
    rulebook.current()
    geography.airports()
    _ = get_resolver().url_patterns, get_resolver().reverse_dict
    named = (*settings.ACCOUNT_FORMS.values(), *settings.MFA_FORMS.values())
    for name in (settings.ACCOUNT_ADAPTER, settings.MFA_ADAPTER, *named):
        import_string(name)
    for path in sorted(TEMPLATES.rglob("*.html")):
        get_template(str(path.relative_to(TEMPLATES)))
