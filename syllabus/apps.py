"""The syllabus's Django app. ``syllabus.engine`` inside it is plain Python and imports no Django."""

from django.apps import AppConfig


class SyllabusConfig(AppConfig):
    """The regulations as data, and schools' courses."""

    name = "syllabus"
    label = "syllabus"
    verbose_name = "Syllabus"
    default_auto_field = "django.db.models.BigAutoField"
