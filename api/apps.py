"""The REST API's Django app: no models, only views and their description."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """The versions of the REST API."""

    name = "api"
    label = "api"
    verbose_name = "REST API"
