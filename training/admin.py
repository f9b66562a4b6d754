"""The admin site: schools with their own words and minimums, users and what each is where; no record."""

from typing import Any

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.socialaccount.models import SocialAccount, SocialApp, SocialToken
from allauth.usersessions.models import UserSession
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import Group
from django.http import HttpRequest
from knox.models import AuthToken

from syllabus.models import SchoolMinimum
from training.models import Aircraft, AircraftCheck, EndorsementWording, Grounding, Role, School, User

admin.site.site_header = admin.site.site_title = "Student pilot training record"
admin.site.unregister(Group)  # roles at a school say what a user may do; groups would say nothing here
# Second factors and sessions are their owner's; the address is the one on the account.
admin.site.unregister([EmailAddress, Authenticator, UserSession])
# The provider is named in the settings; who is linked to it is each person's own.
admin.site.unregister([SocialAccount, SocialApp, SocialToken])
admin.site.unregister(AuthToken)  # whoever made one for another user would be that user


class KeptForGood(admin.ModelAdmin):
    """What other rows hang on is not deleted by a click."""

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(School)
class SchoolAdmin(KeptForGood):
    list_display = ["name", "slug", "time_zone", "late_after_days", "is_demo"]
    search_fields = ["name", "slug"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        # the school's courses and minimums name it by the short name
        return ["is_demo"] if obj is None else ["is_demo", "slug"]


@admin.register(EndorsementWording)
class EndorsementWordingAdmin(admin.ModelAdmin):
    """A school's own words for a kind of endorsement, such as those of the authority's circular."""

    list_display = ["school", "kind"]
    list_filter = ["school"]


@admin.register(SchoolMinimum)
class SchoolMinimumAdmin(KeptForGood):
    """What a school asks for beyond the law. It is ended, not deleted, and its days that are over stay."""

    list_display = ["school_ref", "milestone", "code", "says", "starts", "ends"]
    list_filter = ["school_ref", "milestone"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        return (
            [] if obj is None else [each.name for each in SchoolMinimum._meta.fields if each.name != "ends"]
        )


@admin.register(Aircraft)
class AircraftAdmin(KeptForGood):
    list_display = ["school", "registration", "model", "device"]
    list_filter = ["school"]
    search_fields = ["registration", "model"]


@admin.register(AircraftCheck)
class AircraftCheckAdmin(KeptForGood):
    """What was done or issued of an aircraft, to be looked at: administrators of the school record it."""

    list_display = ["school", "aircraft", "kind", "done", "expires", "by"]
    list_filter = ["school", "kind"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Grounding)
class GroundingAdmin(AircraftCheckAdmin):
    """What grounds or grounded an aircraft, to be looked at: the staff of the school records it."""

    list_display = ["school", "aircraft", "kind", "reason", "at", "by", "ended_at"]


class RolesOfUser(admin.TabularInline):
    model = Role
    extra = 0


@admin.register(User)
class PersonAdmin(UserAdmin):
    """Users by e-mail address; nobody is deleted, only made inactive, for the access log names them."""

    ordering = ["email"]
    list_display = ["email", "name", "is_active", "is_staff"]
    list_filter = ["is_active", "is_staff"]
    search_fields = ["email", "name"]
    readonly_fields = ["last_login", "date_joined"]
    inlines = [RolesOfUser]
    filter_horizontal = ()
    fieldsets = (
        (None, {"fields": ["email", "password", "name"]}),
        ("May", {"fields": ["is_active", "is_staff", "is_superuser"]}),
        ("When", {"fields": ["last_login", "date_joined"]}),
    )
    add_fieldsets = ((None, {"fields": ["email", "name", "usable_password", "password1", "password2"]}),)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
