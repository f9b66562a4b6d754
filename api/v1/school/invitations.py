"""Invitations to a school: those that its administrators sent, and those sent to the caller."""

from http import HTTPStatus
from typing import Any

from api.v1.base.description import Answer, describe
from api.v1.base.errors import Problem, not_found
from api.v1.base.field_types import INSTANT, STRING, UUID, WHOLE, word
from api.v1.base.serializers import Field, ResponseSerializer
from api.v1.base.views import View
from training.models import Invitation, School
from training.services import access
from training.services.people import invitations

_LENGTHS = (411, 413, 415)


class InvitationSerializer(ResponseSerializer):
    """An invitation that waits for its answer. It says nothing of whether the address has an account."""

    id = Field(WHOLE)
    school = Field(STRING, source="school.slug")
    role = Field(word(invitations.ROLES, "role"), "What the person is at the school once it is accepted.")
    name = Field(STRING)
    email = Field(STRING)
    student = Field(UUID, "Whose record it opens.", source="student.ref", allow_null=True)
    by = Field(STRING)
    sent = Field(INSTANT, source="at")
    expires = Field(INSTANT)


class OwnInvitationSerializer(ResponseSerializer):
    """An invitation sent to the caller's address."""

    id = Field(WHOLE)
    school = Field(STRING, "The school's name.", source="school.name")
    role = Field(word(invitations.ROLES, "role"), "What the caller is at the school once it is accepted.")
    by = Field(STRING)
    expires = Field(INSTANT)


class InvitationListSerializer(ResponseSerializer):
    invitations = InvitationSerializer(many=True)


class OwnInvitationListSerializer(ResponseSerializer):
    invitations = OwnInvitationSerializer(many=True)


class InvitationSentSerializer(ResponseSerializer):
    mail = Field(STRING)


class _OfSchool(View):
    def school(self, invitation: int) -> School:
        """The school of an invitation that the caller administers. Raises: Problem (404)."""
        found = Invitation.objects.filter(pk=invitation, school__in=access.schools(self.user))
        one = found.select_related("school").first()
        if one is None:
            raise not_found(invitations.WHAT)
        return one.school


class Invitations(View):
    @describe(
        "listInvitations",
        "List the invitations of your schools",
        Answer(InvitationListSerializer, "Those that wait for an answer"),
        refuses=(403,),
    )
    def get(self) -> Any:
        """For administrators. An invitation that was answered or withdrawn is gone."""
        mine = list(access.schools(self.user))
        if not mine:
            raise Problem(HTTPStatus.FORBIDDEN, "Only administrators of a school may list its invitations.")
        return {"invitations": [each for school in mine for each in invitations.of(school)]}


class InvitationSend(_OfSchool):
    @describe(
        "sendInvitation",
        "Send an invitation again",
        Answer(InvitationSentSerializer, "What was done about the e-mail"),
        refuses=(403, *_LENGTHS),
    )
    def post(self, invitation: int) -> Any:
        """It can be accepted for 14 days from now; the link sent before no longer works."""
        found = invitations.renew(self.school(invitation), invitation, by=self.user, at=self.at)
        return {"mail": invitations.send(self.request._request, found)}


class InvitationWithdraw(_OfSchool):
    @describe(
        "withdrawInvitation",
        "Withdraw an invitation",
        Answer(None, "It is withdrawn", status=204),
        refuses=(403, *_LENGTHS),
    )
    def post(self, invitation: int) -> Any:
        """It can no longer be accepted. A student's record stays, without an account."""
        invitations.withdraw(self.school(invitation), invitation, by=self.user, at=self.at)


class OwnInvitations(View):
    @describe(
        "ownInvitations",
        "List the invitations sent to you",
        Answer(OwnInvitationListSerializer, "Those that can be accepted"),
    )
    def get(self) -> Any:
        """Those sent to the e-mail address of the caller's account, by whichever school."""
        return {"invitations": invitations.own(self.user, self.at)}


class InvitationAccept(View):
    @describe(
        "acceptInvitation",
        "Accept an invitation",
        Answer(None, "The role is the caller's", status=204),
        refuses=(409, *_LENGTHS),
    )
    def post(self, invitation: int) -> Any:
        """From now on the school sees the caller's name and address, and the caller what the role opens."""
        invitations.accept(invitation, by=self.user, at=self.at)


class InvitationDecline(View):
    @describe(
        "declineInvitation",
        "Decline an invitation",
        Answer(None, "It is declined", status=204),
        refuses=_LENGTHS,
    )
    def post(self, invitation: int) -> Any:
        """The school learns that it was declined, and nothing about the caller."""
        invitations.decline(invitation, by=self.user, at=self.at)
