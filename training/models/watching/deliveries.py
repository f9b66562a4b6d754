"""What is to be sent, to whom: the outbox. The rows are the truth, whoever sends them."""

import uuid

from django.db import models
from django.db.models import Q


class Delivery(models.Model):
    """One e-mail to one person. Its id makes its Message-ID, so that a second copy is known as such.

    ``attempts`` is counted before each try, so that one that ends its worker is stopped as well. After the
    last try it is ``failed`` and stays, with the ``fault`` in words.

    E-mail about an account goes to the address ``to``. A ``LINK`` has no text: the secret link is made when
    it is sent. ``user`` stays empty until then, so that a request does the same work for every address.
    """

    class Kind(models.TextChoices):
        REMINDER = "reminder"
        DIGEST = "digest"
        CHECKPOINT = "checkpoint"
        NOTICE = "notice"
        LINK = "link"
        ACCOUNT = "account"

    class State(models.TextChoices):
        PENDING = "pending"
        SENT = "sent"
        WITHDRAWN = "withdrawn"
        FAILED = "failed"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    school = models.ForeignKey(
        "training.School", on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    kind = models.CharField(max_length=12, choices=Kind.choices)
    key = models.CharField(
        max_length=200, unique=True, help_text="what it is, for whom: written once, whoever writes it"
    )
    student = models.ForeignKey(
        "training.Student", on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    user = models.ForeignKey(
        "training.User", on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    guardian = models.ForeignKey(
        "training.Guardian", on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    to = models.EmailField(
        max_length=320,
        blank=True,
        default="",
        db_default="",
        help_text="the address, of e-mail about an account",
    )
    subject = models.CharField(
        max_length=200, blank=True, default="", db_default="", help_text="of e-mail about an account"
    )
    text = models.TextField(blank=True, help_text="what it says, where that does not follow from reminders")
    send_after = models.DateTimeField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.PENDING)
    attempts = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    fault = models.TextField(blank=True)

    class Meta:
        verbose_name_plural = "deliveries"
        ordering = ["created_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(to="", school__isnull=False)
                & (
                    Q(user__isnull=False, guardian__isnull=True)
                    | Q(user__isnull=True, guardian__isnull=False)
                )
                | ~Q(to="") & Q(kind__in=["link", "account"], guardian__isnull=True),
                name="delivery_is_to_one_person",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["pending", "sent", "withdrawn", "failed"]),
                name="delivery_state_is_known",
            ),
            models.CheckConstraint(
                condition=~Q(state="sent") | Q(sent_at__isnull=False), name="delivery_sent_at_a_time"
            ),
        ]
        indexes = [
            models.Index(
                fields=["send_after"], condition=Q(state="pending"), name="delivery_pending_by_time"
            ),
            models.Index(fields=["school", "state"], name="delivery_by_school_and_state"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.id}: {self.state}"


class DeliveryItem(models.Model):
    """One reminder that a delivery tells. ``round`` counts from 0; each time it is put off makes another."""

    school = models.ForeignKey("training.School", on_delete=models.CASCADE, related_name="+")
    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="items")
    reminder = models.ForeignKey("training.Reminder", on_delete=models.CASCADE, related_name="items")
    recipient = models.CharField(max_length=40, help_text="user:7 or guardian:3")
    round = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["reminder", "recipient", "round"], name="deliveryitem_once_for_recipient"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reminder} to {self.recipient}"
