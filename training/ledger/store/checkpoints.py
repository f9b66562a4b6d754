"""Signed statements of how far a tree has grown. They are worth most in hands outside this server."""

import datetime

from django.db import transaction

from training.ledger import models
from training.ledger.core import sealed
from training.ledger.store import keys


def issue(tree: str, *, at: datetime.datetime) -> models.Checkpoint:
    """Sign the tree as it is committed now; where that was signed already, the same checkpoint again.

    Not to be called inside a transaction (``RuntimeError``): what is signed must not be rolled back.
    ``Head.DoesNotExist`` where nothing was ever sealed under that name; ``ImproperlyConfigured`` without key.
    """
    signer = keys.signer()
    instant = sealed.instant_text(at)
    with transaction.atomic(durable=True):
        head = models.Head.objects.get(tree=tree)
        signed = models.Checkpoint.objects
        same = {"tree": tree, "size": head.size, "kid": signer.kid}
        found = signed.filter(**same).first()
        if found is None:
            keys.register(signer, instant)
            statement = sealed.checkpoint_statement(tree=tree, size=head.size, root=head.root, at=instant)
            row = models.Checkpoint(**same, root=head.root, at=instant, token=signer.sign(statement))
            signed.bulk_create([row], ignore_conflicts=True)  # two at once: the first one counts
            found = signed.get(**same)
    return found


def newest(tree: str) -> models.Checkpoint | None:
    """The checkpoint over the most entries, if there is one."""
    return models.Checkpoint.objects.filter(tree=tree).order_by("-size", "-pk").first()
