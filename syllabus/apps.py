"""The syllabus's Django app. ``syllabus.engine`` inside it is plain Python and imports no Django."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class SyllabusConfig(AppConfig):
    """Regulations as data, and a school's courses."""

    name = "syllabus"
    label = "syllabus"
    verbose_name = "Syllabus"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from syllabus.models import freezing

        name = freezing.__name__
        pre_migrate.connect(freezing.before_migrate, sender=self, dispatch_uid=f"{name}.before")
        post_migrate.connect(freezing.after_migrate, sender=self, dispatch_uid=f"{name}.after")
