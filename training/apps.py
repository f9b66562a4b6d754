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
        from training.models import erasing, sealing, staleness, versions
        from training.services import triggers as _  # noqa: F401  (a system check)
        from training.web import prepared  # noqa: F401  (its pages are made ahead by the sweep)

        for triggers in (sealing, versions, staleness):
            name = triggers.__name__
            pre_migrate.connect(triggers.before_migrate, sender=self, dispatch_uid=f"{name}.before")
            post_migrate.connect(triggers.after_migrate, sender=self, dispatch_uid=f"{name}.after")
        post_migrate.connect(erasing.after_migrate, sender=self, dispatch_uid="training.erasing.after")
