"""The ledger's Django app."""

from django.apps import AppConfig


class LedgerConfig(AppConfig):
    """Sealed entries in Merkle trees, their checkpoints and proofs; knows nothing of what is sealed."""

    name = "training.ledger"
    label = "ledger"
    verbose_name = "Ledger"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from training.ledger.store import checks  # noqa: F401  (registers the system checks)
