"""The lesson sheet as a Django form; each field shows its errors, warnings and calculated values.

``sheet`` reads what was typed, and ``sheet_check`` checks it. This form shows both.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from syllabus.engine.course.course import Item, Outline
from syllabus.engine.course.standards import Tolerance
from syllabus.engine.record.record import TIMES
from training.models import ItemGrade
from training.presenters.entry import COUNTS, FLAGS, GRADES, PERIODS, grade_of, label_of, sentence
from training.web.instructor import sheet
from training.web.instructor.sheet_check import Look
from training.web.shared.forms import Choice, FocusedField, Form, Renderer, Text

FLOWN = (
    (sheet.DUAL, gettext_lazy("With me aboard")),
    (sheet.SOLO, gettext_lazy("Student solo")),
    (sheet.NO_FLIGHT, gettext_lazy("No flight")),
)
#: The most items whose fields for measured values are open, so that a stage check stays short.
_FEW_ITEMS = 12
_AIRPORTS = {"list": "airports", "autocapitalize": "characters"}
_DAY, _CLOCK, _HOURS = {"type": "date"}, {"inputmode": "numeric"}, {"inputmode": "decimal"}
_STEPS = {"type": "number", "min": 0, "max": 99, "inputmode": "numeric"}


class Radios(forms.RadioSelect):
    """Radio buttons; a link to the field leads to the first of them."""

    def id_for_label(self, id_: str, index: str | None = None) -> str:
        return super().id_for_label(id_, index or "0")


class SheetField(FocusedField):
    """A field of the sheet with its messages."""

    form: "SheetForm"

    @property
    def said(self) -> list[tuple[str, str]]:
        """Errors, then warnings."""
        return self.form.said(self.name)

    @property
    def hint(self) -> Any:
        """The measured value compared with its standard."""
        return self.form.found.hints.get(self.name) if self.form.found else None

    @property
    def steps(self) -> bool:
        """Whether the field has buttons to count up and down."""
        return getattr(self.field.widget, "input_type", "") == "number"


class _Renderer(Renderer):
    field_template_name = "training/instructor/sheet_field.html"
    bound_field_class = SheetField  # type: ignore[assignment]


@dataclass(frozen=True, slots=True)
class Measured:
    """One value measured of an item, with a field for the target if it is chosen in flight."""

    name: SheetField
    unit: SheetField
    value: SheetField
    target: SheetField | None


@dataclass(frozen=True, slots=True)
class Known:
    """What a sheet shows beside its items, by item: the grade required, and the newest grade."""

    required: Mapping[str, str]
    newest: Mapping[str, ItemGrade]


@dataclass(frozen=True, slots=True)
class ItemRow:
    """An item of the sheet: its standard, its grade and its measured values."""

    item: Item | None
    required: str
    newest: ItemGrade | None
    code: SheetField
    grade: SheetField
    remarks: SheetField
    measures: list[Measured]

    @property
    def title(self) -> str:
        return self.item.title if self.item else str(self.code.value())

    @property
    def measured(self) -> bool:
        """Whether something was measured, or is wrong with it."""
        return any(each.value.value() or each.value.said for each in self.measures)

    @property
    def last_grade(self) -> str:
        return grade_of(self.newest.grade) if self.newest else ""

    @property
    def cautions(self) -> list[str]:
        return sorted({each.caution for each in self.item.standard if each.caution}) if self.item else []


class SheetForm(Form):
    """The fields of a lesson, with as many rows of landings and items as it has."""

    default_renderer = _Renderer

    version = forms.CharField(widget=forms.HiddenInput)
    record = forms.CharField(widget=forms.HiddenInput)
    lesson = forms.CharField(widget=forms.HiddenInput)
    flown = Choice(gettext_lazy("Who was aboard"), FLOWN, widget=Radios)
    date = Text(gettext_lazy("Day"), widget=forms.TextInput(attrs=_DAY))
    registration = Text(
        gettext_lazy("Aircraft"),
        widget=forms.TextInput(attrs={"list": "fleet", "autocapitalize": "characters"}),
    )
    off = Text(gettext_lazy("Off"), widget=forms.TextInput(attrs={**_CLOCK, "placeholder": "1405"}))
    on = Text(gettext_lazy("On"), widget=forms.TextInput(attrs={**_CLOCK, "placeholder": "1529"}))
    route = Text(
        gettext_lazy("Route"),
        widget=forms.TextInput(
            attrs={
                **_AIRPORTS,
                "spellcheck": "false",
                "placeholder": "KGRB KMTW KGRB",
                "aria-describedby": "worked-out",
            }
        ),
    )
    remarks = Text(gettext_lazy("Flight remarks"), widget=forms.Textarea(attrs={"rows": 2}))
    comments = Text(gettext_lazy("Comments"), widget=forms.Textarea(attrs={"rows": 2}))
    next = Text(gettext_lazy("Next"), widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(
        self,
        given: Mapping[str, str],
        found: Look | None,
        outline: Outline | None,
        known: Known,
    ) -> None:
        self._given = {**given}
        super().__init__(self._given, auto_id="f-%s")
        self.found, self._outline, self._known = found, outline, known
        self.craft = [self._add(key, Text(label_of(key))) for key in sheet.CRAFT[1:]]
        #: The start and end of flight time (14 CFR 1.1), beside off and on blocks.
        self.ramp = [
            self._add(name, Text(label, widget=forms.TextInput(attrs=_CLOCK)))
            for name, label in (("out", _("Out (first movement)")), ("in", _("In (at rest after landing)")))
        ]
        self.times = []
        for key in TIMES:
            widget = forms.TextInput(attrs=_HOURS)
            self.times.append(self._add(f"t-{key}", Text(label_of(key), widget=widget)))
        self.ground = [
            self._add("ground-time", Text(_("Time"), widget=forms.TextInput(attrs=_HOURS))),
            self._add("ground-date", Text(_("Day, if different"), widget=forms.TextInput(attrs=_DAY))),
            self._add("ground-topic", Text(_("Topic"))),
        ]
        rows = sheet.count_of(given, "landing-count") or sheet.SPARE_LANDINGS
        self.landings = [self._landing(number, last=number == rows - 1) for number in range(rows)]
        self.items = [self._item(number) for number in range(sheet.count_of(given, "item-count"))]

    def full_clean(self) -> None:
        """Use the errors that ``sheet_check`` found, and no others."""
        super().full_clean()
        wrong = self.found.errors if self.found else {}
        self.errors.clear()
        self.errors.update({name: self.error_class(said) for name, said in wrong.items()})

    def said(self, name: str) -> list[tuple[str, str]]:
        """A field's messages: errors, then warnings."""
        if self.found is None:
            return []
        return [
            *(("error", each) for each in self.found.errors.get(name, ())),
            *(("look", each) for each in self.found.warnings.get(name, ())),
        ]

    def _add(self, name: str, field: forms.Field) -> Any:
        self.fields[name] = field
        return self[name]

    @property
    def ramp_open(self) -> bool:
        return bool(self._given.get("preparation")) or any(each.value() or each.said for each in self.ramp)

    @property
    def ground_open(self) -> bool:
        taught = any(self._given.get(f"ground-{key}") for key in ("time", "topic"))
        return taught or any(each.said for each in self.ground) or self._given.get("flown") == sheet.NO_FLIGHT

    @property
    def values_open(self) -> bool:
        """Whether the fields for measured values are open: on a long sheet they are one tap away."""
        return len(self.items) <= _FEW_ITEMS

    def _landing(self, number: int, *, last: bool) -> list[Any]:
        row = f"landing-{number}"
        known = self._given.get(f"{row}-at")
        self._given |= {f"{row}-{key}": self._given.get(f"{row}-{key}") or "0" for key in COUNTS}
        label = _("Add airport") if last and not known else _("Airport")
        unsaid = ("", _("not entered"))
        periods = [unsaid, *((key, _(words)) for key, words in PERIODS.items())]
        return [
            self._add(f"{row}-at", Text(label, widget=forms.TextInput(attrs=_AIRPORTS))),
            *(
                self._add(f"{row}-{key}", Text(label_of(key), widget=forms.TextInput(attrs=_STEPS)))
                for key in COUNTS
            ),
            self._add(f"{row}-period", Choice(_("When"), periods)),
            *(
                self._add(f"{row}-{key}", Choice(label_of(key), [unsaid, ("yes", _("yes")), ("no", _("no"))]))
                for key in FLAGS
            ),
        ]

    def _item(self, number: int) -> ItemRow:
        row = f"item-{number}"
        code = self._given.get(row, "")
        item = self._outline.by_code.get(code) if self._outline else None
        taken = sheet.taken(self._given, number)
        known = dict(sheet.measures(item, taken))
        asked = self._known.required.get(code)
        remark = _("Remark on %(title)s") % {"title": item.title if item else code}
        return ItemRow(
            item,
            grade_of(asked) if asked else "",
            self._known.newest.get(code),
            self._add(row, forms.CharField(widget=forms.HiddenInput)),
            self._add(
                f"{row}-grade",
                Choice(_("Grade"), [(each, _(words)) for each, words in GRADES.items()], widget=Radios),
            ),
            self._add(
                f"{row}-remarks", Text(remark, widget=forms.Textarea(attrs={"rows": 2, "aria-label": remark}))
            ),
            [
                self._measured(f"{row}-m-{place}", name, known.get(name))
                for place, name in enumerate(taken or known)
            ],
        )

    def _measured(self, row: str, name: str, tolerance: Tolerance | None) -> Measured:
        says, aim, unit = (
            (tolerance.says, tolerance.target.name, tolerance.unit) if tolerance else ("", "", "")
        )
        self._given[f"{row}-unit"] = unit
        value, target = (
            Text(
                label,
                help_text=text,
                widget=forms.TextInput(attrs={**_HOURS, "data-unit": unit} if unit else {}),
            )
            for label, text in ((sentence(name), says), (_("Target"), aim))
        )
        return Measured(
            self._add(f"{row}-name", forms.CharField(widget=forms.HiddenInput)),
            self._add(f"{row}-unit", forms.CharField(widget=forms.HiddenInput)),
            self._add(f"{row}-value", value),
            self._add(f"{row}-target", target) if sheet.aims(tolerance) else None,
        )
