"""The training record's Django app."""

from django.apps import AppConfig


class TrainingConfig(AppConfig):
    """Schools, people, aircraft, flights, lessons, endorsements, and the services that write them."""

    name = "training"
    label = "training"
    verbose_name = "Training record"
    default_auto_field = "django.db.models.BigAutoField"
