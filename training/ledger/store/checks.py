"""What ``manage.py check`` says about the ledger's key."""

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.core.exceptions import ImproperlyConfigured

from training.ledger.store import keys


@register(Tags.security)
def the_key_can_be_read(**_: Any) -> list[CheckMessage]:
    if settings.LEDGER_SIGNING_KEY.strip():
        try:
            keys.signer()
        except ImproperlyConfigured as fault:
            return [Error(str(fault), id="ledger.E001")]
    return []


@register(Tags.security, deploy=True)
def there_is_a_key(**_: Any) -> list[CheckMessage]:
    if not settings.LEDGER_SIGNING_KEY.strip() and settings.LEDGER_KEY_FILE is None:
        return [
            Warning(
                "LEDGER_SIGNING_KEY is not set: entries are sealed, but no checkpoint can be signed and no "
                "record exported with proof.",
                hint=f"Create a key once and store it: {keys.HOW_TO_MAKE_ONE}",
                id="ledger.W001",
            )
        ]
    return []
