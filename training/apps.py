"""The training record's Django app."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class TrainingConfig(AppConfig):
    """Schools, people, aircraft, flights, lessons, endorsements, and the services that write them."""

    name = "training"
    label = "training"
    verbose_name = "Training record"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # They register signals and a system check, and row_scope comes before the first connection.
        from training.services import row_scope  # noqa: F401
        from training.services.operations import connections  # noqa: F401  (its system checks)
        from training.services.people import account_mails, sign_ins  # noqa: F401
        from training.services.reminders import mail_server  # noqa: F401
        from training.triggers import every
        from training.web.student import page_cache  # noqa: F401  (its pages are made ahead by the sweep)

        pre_migrate.connect(every.before_migrate, sender=self, dispatch_uid="triggers.before")
        post_migrate.connect(every.after_migrate, sender=self, dispatch_uid="triggers.after")
