"""What ``manage.py check --deploy`` says about how many connections to the database there may be."""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Tags, Warning, register
from django.db import connections

_HINT = "As the database's superuser: ALTER ROLE {role} CONNECTION LIMIT {needed}; or lower WEB_WORKERS."


@register(Tags.security, deploy=True)
def they_fit_the_setting(**_: Any) -> list[CheckMessage]:
    """By the settings alone."""
    fault = settings.CONNECTIONS.fault
    sqlite = connections["default"].vendor == "sqlite"
    return [Warning(fault, id="training.W010")] if fault and not sqlite else []


@register(Tags.database, deploy=True)
def they_fit_the_role(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """With ``--database default``: by what the server allows the role, and everybody together."""
    found: list[CheckMessage] = []
    needed = settings.CONNECTIONS.needed
    for connection in (connections[each] for each in databases or ()):
        if connection.vendor != "postgresql":
            continue
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT rolname, rolconnlimit, current_setting('max_connections')::int"
                " - current_setting('superuser_reserved_connections')::int FROM pg_roles"
                " WHERE rolname = coalesce(nullif(%s, ''), current_user)",
                [settings.DATABASE_ROLE],
            )
            for role, limit, of_all in cursor.fetchall():
                allowed = of_all if limit < 0 else min(limit, of_all)
                if allowed < needed:
                    says = f"The role {role} may have {allowed} connections; the settings need {needed}."
                    hint = _HINT.format(role=role, needed=needed)
                    found.append(Warning(says, hint=hint, id="training.W011"))
    return found
