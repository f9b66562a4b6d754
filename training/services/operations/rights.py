"""The rights of the PostgreSQL role for web server and worker: what they need, and no more.

It owns nothing, so it can neither disable a trigger nor empty a table. Migrations, the demo and a restore
need the owner.
"""

import re

from django.apps import apps
from django.conf import settings
from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder

from training import models
from training.triggers import ledger as guards
from training.triggers import sealing

#: Tables whose rows are written and read, never changed or deleted.
WRITTEN_ONCE = (
    models.AccessLog,
    models.AircraftCheck,
    models.AuditRun,
    models.CoursePublication,
    models.RecordChange,
    models.SchoolChange,
    models.SpentNonce,
)
#: Tables whose rows may change (an entry is retired, a draft signed) and are never deleted.
STAYS = (
    *models.ENTRIES,
    models.Landing,
    models.LessonRecord,
    models.Enrolment,
    models.Assignment,
    models.Finding,
    models.Grounding,
    models.Student,
    models.School,
    models.User,
    models.RetentionHold,
)


class RightsError(ValueError):
    """The rights cannot be granted; the message says why and what to do."""


def statements(role: str) -> list[str]:
    """The statements that grant a role its rights; for the owner of the tables, after each migration.

    Raises: RightsError for an invalid role name.
    """
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]{0,62}", role):
        raise RightsError(f"{role!r} is not a role name: use letters, digits and underscores, up to 63")
    ledger = set(guards.TABLES)
    once = {*sealing.WRITTEN_ONCE, *(model._meta.db_table for model in WRITTEN_ONCE)}
    stays = {model._meta.db_table for model in STAYS}
    tables = {model._meta.db_table for model in apps.get_models(include_auto_created=True)} - ledger
    tables |= {settings.PAGE_CACHE_TABLE, settings.LIMITS_TABLE}
    every = ", ".join(sorted(tables | {MigrationRecorder.Migration._meta.db_table}))
    return [
        f'REVOKE ALL ON {every} FROM "{role}"',
        f'GRANT SELECT ON {every} TO "{role}"',
        f'GRANT INSERT ON {", ".join(sorted(tables))} TO "{role}"',
        f'GRANT UPDATE ON {", ".join(sorted(tables - once))} TO "{role}"',
        f'GRANT DELETE ON {", ".join(sorted(tables - once - stays))} TO "{role}"',
        f'GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO "{role}"',
        *guards.grants(role),
    ]


def give(role: str) -> int:
    """Grant the role its rights, all or none; returns the number of statements.

    Raises: RightsError on a database without roles, for a role that does not exist or has every right.
    """
    wanted = statements(role)
    if connection.vendor != "postgresql":
        raise RightsError("Only PostgreSQL has roles; with SQLite, protect the file.")
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT rolsuper, rolname = current_user FROM pg_roles WHERE rolname = %s", [role])
        found = cursor.fetchone()
        if found is None:
            raise RightsError(f"No role {role}. Create it: CREATE ROLE {role} LOGIN PASSWORD '…'")
        if any(found):
            raise RightsError(
                f"The role {role} is a superuser or the owner and has every right. Name another role."
            )
        for each in wanted:
            cursor.execute(each)
    return len(wanted)
