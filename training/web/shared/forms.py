"""Base classes of all forms: how fields are shown, read and validated."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Self, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import ProhibitNullCharactersValidator
from django.forms.renderers import TemplatesSetting
from django.http import HttpRequest, QueryDict
from django.utils.translation import gettext_lazy as _

from syllabus.engine.errors import InputError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from training.services.errors import NotFound, Refused


class FocusedField(forms.BoundField):
    """A form field; the first one with an error gets the focus."""

    def build_widget_attrs(self, attrs: dict[str, Any], widget: forms.Widget | None = None) -> dict[str, Any]:
        found: dict[str, Any] = super().build_widget_attrs(attrs, widget)
        wrong = self.form.errors
        if self.name == next((each for each in self.form.fields if each in wrong), None):
            found["autofocus"] = True
        return found


class Renderer(TemplatesSetting):
    """Renders every form with the same templates."""

    form_template_name = "training/forms/form.html"
    field_template_name = "training/forms/field.html"
    bound_field_class = FocusedField


class Text(forms.CharField):
    """One line of text. Autocomplete is off: a browser's memory of other people does not belong here."""

    default_error_messages = {"required": _("is blank")}

    def __init__(self, label: Any, *, required: bool = False, **more: Any) -> None:
        super().__init__(label=label, required=required, **more)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        found = super().widget_attrs(widget)
        return found if isinstance(widget, forms.Textarea) else {"autocomplete": "off", **found}


class Day(Text):
    """A day as typed; blank is None."""

    default_error_messages = {"required": _("is blank; enter a date, such as 2026-03-02")}

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        errors = Errors()
        found = reading.day(errors, text, "")
        if errors:
            raise ValidationError([each.message for each in errors])
        return found


class Choice(forms.ChoiceField):
    """One of a list. The service refuses other values, with the same words for pages and API."""

    default_validators = [ProhibitNullCharactersValidator()]

    def __init__(self, label: Any, choices: Any = (), **more: Any) -> None:
        super().__init__(label=label, choices=choices, required=False, **more)

    def valid_value(self, value: str) -> bool:
        return True

    def has(self, value: str) -> bool:
        """Whether the value is on the list."""
        return super().valid_value(value)


class Checkbox(forms.BooleanField):
    """A checkbox; ``unchecked`` is the error of a required one."""

    def __init__(self, label: Any, *, unchecked: Any = None) -> None:
        super().__init__(label=label, required=bool(unchecked), error_messages={"required": unchecked})


class Lines(Text):
    """Text with ``\\n`` line ends: browsers send ``\\r\\n``, and a passkey signs ``\\n``."""

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.replace("\r\n", "\n") if isinstance(value, str) else value)


class Reason(Lines):
    """The reason for a change; the service validates it. A text area if ``rows`` is given."""

    def __init__(self, label: Any, *, most: int, rows: int = 0, **more: Any) -> None:
        attrs = {"rows": rows} if rows else {}
        widget = forms.Textarea if rows else forms.TextInput
        super().__init__(label, max_length=most, widget=widget(attrs={"required": True, **attrs}), **more)


class Form(forms.Form):
    """A form that passes its data to a service and shows the service's errors."""

    use_required_attribute = False
    #: Field names by the service's names, where they differ.
    places: Mapping[str, str] = {}
    #: The field for errors that name none.
    refused_at: str | None = None
    #: What the service returned or raised.
    result: Any = None
    refused: Exception | None = None

    def __init__(self, data: Any = None, *args: Any, **more: Any) -> None:
        super().__init__(data, *args, **{"auto_id": "%s", "label_suffix": "", **more})

    @classmethod
    def bind(cls, request: HttpRequest, **more: Any) -> Self:
        """The form with the data of a POST, else new."""
        return cls(posted(request), **more)

    def offer(self, field: str, choices: Iterable[tuple[str, Any]]) -> None:
        """Set the choices of a field that depend on the day."""
        found = self.fields[field]
        assert isinstance(found, Choice)
        found.choices = list(choices)

    @classmethod
    def read(cls, request: HttpRequest, **more: Any) -> dict[str, Any]:
        """The cleaned data, for a page that does not show the form again; invalid fields are left out."""
        form = cls(request.POST, **more)
        form.is_valid()
        return form.cleaned_data

    @property
    def status(self) -> int:
        """The HTTP status of a page that shows the form."""
        return 422 if self.errors else 200

    def submit(self, service: Callable[..., Any]) -> bool:
        """Pass the data to the service; true if it accepted them. Its errors go to their fields."""
        if not self.is_valid():
            return False
        try:
            self.result = service(**self.cleaned_data)
        except InputError as wrong:
            self.refused = wrong
            for each in wrong.errors:
                self.refuse(each.message, each.place)
        except NotFound:
            raise
        except Refused as refused:
            self.refused = refused
            self.refuse(str(refused))
        return not self.errors

    def refuse(self, message: str, place: str = "") -> None:
        """Add the error of a place to its field; a place below a field belongs to that field."""
        key = place.replace("[", ".").partition(".")[0]
        field = self.places.get(key, key) if key else self.refused_at
        seen = field in self.fields and not self.fields[field].widget.is_hidden
        self.add_error(field if seen else None, message)


class Words(forms.CharField):
    """Words to search for; a text that is too long or invalid counts as empty."""

    def to_python(self, value: Any) -> str:
        return str(super().to_python(str(value or "").replace("\x00", "")[: self.max_length]))


class Search(Form):
    """A search field."""

    q = Words(required=False, widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}))

    @classmethod
    def of(cls, request: HttpRequest, label: Any, *, most: int, **field: Any) -> tuple[Self, str]:
        """The form as sent, and the words."""
        form = cls(request.GET)
        found = form.fields["q"]
        found.label, found.max_length = label, most  # type: ignore[attr-defined]
        found.widget.attrs.update({"maxlength": most, **field.pop("attrs", {})})
        found.help_text = field.get("help_text", "")
        form.is_valid()
        return form, form.cleaned_data["q"]


def posted(request: HttpRequest) -> QueryDict | None:
    """What a form of Django's or ours is bound to; None if nothing was sent."""
    return request.POST if request.method == "POST" else None


def as_typed(request: HttpRequest) -> dict[str, str]:
    """All fields by name, for the lesson sheet, whose script adds rows: it has its own reader."""
    return {key: str(value) for key, value in request.POST.items()}


def text_of(request: HttpRequest, name: str) -> str:
    """One field, read as ``Lines`` reads it, for a form that is not shown again."""
    return request.POST.get(name, "").replace("\x00", "").replace("\r\n", "\n").strip()


def texts_of(request: HttpRequest, name: str) -> list[str]:
    """The checked values of a list."""
    return request.POST.getlist(name)


FormT = TypeVar("FormT", bound=Form)


def sent_or_new(form: Form | None, kind: type[FormT], **begins: Any) -> FormT:
    """For a page with several forms: the one that was sent if it is of this class, else a new one."""
    return form if isinstance(form, kind) else kind(**begins)
