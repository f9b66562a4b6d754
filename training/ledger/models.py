"""The ledger's tables. Every row is written once; triggers of ``guards.py`` refuse the rest.

Hashes, salts and instants are text exactly as they are sealed (64 lower-case hexadecimal digits; UTC with
microseconds): nothing is converted between the row and the bytes that are hashed, so nothing can be lost or
hidden in a conversion.
"""

import datetime
import json
from typing import Any

from django.db import models

from training.ledger.core import sealed
from training.ledger.core.proofs import EMPTY_ROOT

TREE_LENGTH = 100
KIND_LENGTH = 64
SUBJECT_LENGTH = 200
HASH_LENGTH = 64
INSTANT_LENGTH = 27


class Head(models.Model):
    """How far a tree has grown. It moves forward only; its row lock puts appends in order.

    ``peaks``: the hashes of the complete subtrees that make up the tree, largest first, separated by spaces.
    """

    tree = models.CharField(max_length=TREE_LENGTH, primary_key=True)
    size = models.BigIntegerField(default=0)
    root = models.CharField(max_length=HASH_LENGTH, default=EMPTY_ROOT.hex())
    peaks = models.TextField(default="", blank=True)

    def __str__(self) -> str:
        return f"{self.tree}: {self.size} entries"


class Entry(models.Model):
    """One sealed entry: a leaf of its tree. What it says stands in its ``EntryBody``."""

    tree = models.CharField(max_length=TREE_LENGTH)
    index = models.BigIntegerField(help_text="from 0, without gaps")
    kind = models.CharField(max_length=KIND_LENGTH)
    subject = models.CharField(max_length=SUBJECT_LENGTH, help_text="whose record it belongs to")
    at = models.CharField("sealed at", max_length=INSTANT_LENGTH)
    commitment = models.CharField(max_length=HASH_LENGTH)
    leaf = models.CharField("leaf hash", max_length=HASH_LENGTH)

    class Meta:
        ordering = ["tree", "index"]
        verbose_name_plural = "entries"
        constraints = [models.UniqueConstraint(fields=["tree", "index"], name="ledger_entry_once")]
        indexes = [models.Index(fields=["tree", "subject", "index"], name="ledger_entry_by_subject")]

    def __str__(self) -> str:
        return f"{self.tree} {self.index}: {self.kind}"

    @property
    def instant(self) -> datetime.datetime:
        return sealed.instant_of(self.at)


class EntryBody(models.Model):
    """What an entry says, as canonical JSON text, with the salt of its commitment.

    In a table of its own: should a law demand that a body be erased, this row goes and the entry stays, and
    with it every proof.
    """

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, primary_key=True, related_name="kept")
    body = models.TextField()
    salt = models.CharField(max_length=HASH_LENGTH)

    class Meta:
        verbose_name_plural = "entry bodies"

    def __str__(self) -> str:
        return f"body of entry {self.pk}"

    @property
    def value(self) -> dict[str, Any]:
        """What was given to ``entries.append``."""
        value: dict[str, Any] = json.loads(self.body)
        return value


class Node(models.Model):
    """An inner node over a complete subtree; ``proofs.py`` says what level and index mean."""

    tree = models.CharField(max_length=TREE_LENGTH)
    level = models.PositiveSmallIntegerField(help_text="from 1; the leaves are the entries")
    index = models.BigIntegerField()
    hash = models.CharField(max_length=HASH_LENGTH)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["tree", "level", "index"], name="ledger_node_once")]

    def __str__(self) -> str:
        return f"{self.tree} level {self.level} index {self.index}"


class Checkpoint(models.Model):
    """A signed statement that the tree had this size and root at that instant (a compact JWS)."""

    tree = models.CharField(max_length=TREE_LENGTH)
    size = models.BigIntegerField()
    root = models.CharField(max_length=HASH_LENGTH)
    at = models.CharField("signed at", max_length=INSTANT_LENGTH)
    kid = models.CharField("key id", max_length=HASH_LENGTH)
    token = models.TextField("signed statement")

    class Meta:
        ordering = ["tree", "size", "pk"]
        constraints = [models.UniqueConstraint(fields=["tree", "size", "kid"], name="ledger_checkpoint_once")]

    def __str__(self) -> str:
        return f"{self.tree} at {self.size} entries"


class LedgerKey(models.Model):
    """The public part of a key that signed checkpoints here. It stays when another takes over."""

    kid = models.CharField("key id", max_length=HASH_LENGTH, primary_key=True)
    public = models.CharField("public part, base64url", max_length=HASH_LENGTH)
    at = models.CharField("first used at", max_length=INSTANT_LENGTH)

    def __str__(self) -> str:
        return self.kid
