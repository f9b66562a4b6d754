"""The forms of the pages: how a field is shown, read, and told what is wrong with it."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Self, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import ProhibitNullCharactersValidator
from django.forms.renderers import TemplatesSetting
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from syllabus.engine.errors import InputError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors
from training.services.errors import NotFound, Refused


class FocusedField(forms.BoundField):
    """A field of a page; the first one with an error is where the reader starts."""

    def build_widget_attrs(self, attrs: dict[str, Any], widget: forms.Widget | None = None) -> dict[str, Any]:
        found: dict[str, Any] = super().build_widget_attrs(attrs, widget)
        wrong = self.form.errors
        if self.name == next((each for each in self.form.fields if each in wrong), None):
            found["autofocus"] = True
        return found


class Renderer(TemplatesSetting):
    """Every form of the pages looks alike."""

    form_template_name = "training/forms/form.html"
    field_template_name = "training/forms/field.html"
    bound_field_class = FocusedField


class Text(forms.CharField):
    """A line of text. What a browser remembers of other people does not belong in it."""

    default_error_messages = {"required": _("is blank")}

    def __init__(self, label: Any, *, required: bool = False, **more: Any) -> None:
        super().__init__(label=label, required=required, **more)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        found = super().widget_attrs(widget)
        return found if isinstance(widget, forms.Textarea) else {"autocomplete": "off", **found}


class Day(Text):
    """A day as it is typed; blank is None."""

    default_error_messages = {"required": _("is blank; enter a date, such as 2026-03-02")}

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        faults = Errors()
        found = reading.day(faults, text, "")
        if faults:
            raise ValidationError([each.message for each in faults])
        return found


class Choice(forms.ChoiceField):
    """One of a list. The service says what is none of it, in the same words for every way in."""

    default_validators = [ProhibitNullCharactersValidator()]

    def __init__(self, label: Any, choices: Any = (), **more: Any) -> None:
        super().__init__(label=label, choices=choices, required=False, **more)

    def valid_value(self, value: str) -> bool:
        return True

    def has(self, value: str) -> bool:
        """Whether that is one of the list."""
        return super().valid_value(value)


class Checkbox(forms.BooleanField):
    """A checkbox; ``unchecked`` is the error of one that must be checked."""

    def __init__(self, label: Any, *, unchecked: Any = None) -> None:
        super().__init__(label=label, required=bool(unchecked), error_messages={"required": unchecked})


class Lines(Text):
    """A text whose lines end in one character: a browser sends two, and what a passkey signs has one."""

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.replace("\r\n", "\n") if isinstance(value, str) else value)


class Reason(Lines):
    """Why something is done; the service says what is no reason. Several lines where it has ``rows``."""

    def __init__(self, label: Any, *, most: int, rows: int = 0, **more: Any) -> None:
        attrs = {"rows": rows} if rows else {}
        widget = forms.Textarea if rows else forms.TextInput
        super().__init__(label, max_length=most, widget=widget(attrs={"required": True, **attrs}), **more)


class Form(forms.Form):
    """What a page sends: bound to it, given to a service, and shown again with what the service refused."""

    use_required_attribute = False
    #: The form's name of a field where the service has another.
    places: Mapping[str, str] = {}
    #: The field to blame where the service refuses without naming one.
    refused_at: str | None = None
    #: What the service gave, or how it refused.
    result: Any = None
    refused: Exception | None = None

    def __init__(self, data: Any = None, *args: Any, **more: Any) -> None:
        super().__init__(data, *args, **{"auto_id": "%s", "label_suffix": "", **more})

    @classmethod
    def bind(cls, request: HttpRequest, **more: Any) -> Self:
        """The form as it was sent, or as it begins."""
        return cls(request.POST if request.method == "POST" else None, **more)

    def offer(self, field: str, choices: Iterable[tuple[str, Any]]) -> None:
        """Set what a field has to choose from, where that is known on the day alone."""
        found = self.fields[field]
        assert isinstance(found, Choice)
        found.choices = list(choices)

    @classmethod
    def read(cls, request: HttpRequest, **more: Any) -> dict[str, Any]:
        """What was sent, for a page that shows no form again; what cannot be read is left out."""
        form = cls(request.POST, **more)
        form.is_valid()
        return form.cleaned_data

    @property
    def status(self) -> int:
        """How a page that shows the form is answered."""
        return 422 if self.errors else 200

    def submit(self, service: Callable[..., Any]) -> bool:
        """Give the service what was sent; whether it took it. What it refused is said at its field."""
        if not self.is_valid():
            return False
        try:
            self.result = service(**self.cleaned_data)
        except InputError as wrong:
            self.refused = wrong
            for each in wrong.faults:
                self.refuse(each.message, each.place)
        except NotFound:
            raise
        except Refused as refused:
            self.refused = refused
            self.refuse(str(refused))
        return not self.errors

    def refuse(self, message: str, place: str = "") -> None:
        """Say what is wrong at the field of that place; a place below a field is the field's."""
        key = place.replace("[", ".").partition(".")[0]
        field = self.places.get(key, key) if key else self.refused_at
        seen = field in self.fields and not self.fields[field].widget.is_hidden
        self.add_error(field if seen else None, message)


class Words(forms.CharField):
    """Words to search for; any search is answered, so what is too long or no text is left out."""

    def to_python(self, value: Any) -> str:
        return str(super().to_python(str(value or "").replace("\x00", "")[: self.max_length]))


class Search(Form):
    """The words that a page looks for."""

    q = Words(required=False, widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}))

    @classmethod
    def of(cls, request: HttpRequest, label: Any, *, most: int, **field: Any) -> tuple[Self, str]:
        """The form as it was sent, and the words."""
        form = cls(request.GET)
        found = form.fields["q"]
        found.label, found.max_length = label, most  # type: ignore[attr-defined]
        found.widget.attrs.update({"maxlength": most, **field.pop("attrs", {})})
        found.help_text = field.get("help_text", "")
        form.is_valid()
        return form, form.cleaned_data["q"]


def as_typed(request: HttpRequest) -> dict[str, str]:
    """Every field by its name, for a sheet whose rows a script adds: it has its own reader."""
    return {key: str(value) for key, value in request.POST.items()}


def text_of(request: HttpRequest, name: str) -> str:
    """One field of a form that is not shown again, read as ``Lines`` reads it."""
    return request.POST.get(name, "").replace("\x00", "").replace("\r\n", "\n").strip()


def texts_of(request: HttpRequest, name: str) -> list[str]:
    """What was ticked of a list."""
    return request.POST.getlist(name)


FormT = TypeVar("FormT", bound=Form)


def sent_or_new(form: Form | None, kind: type[FormT], **begins: Any) -> FormT:
    """The form that was sent where it is of that kind, for a page of several; else one as it begins."""
    return form if isinstance(form, kind) else kind(**begins)
