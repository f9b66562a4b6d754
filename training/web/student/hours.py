"""Hours over time by kind, in the words and charts of the student's page."""

import datetime as dt
from dataclasses import dataclass
from functools import cached_property

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from syllabus.engine.record.record import Record
from syllabus.engine.rules.report import Report
from training.presenters.amounts import hours as in_hours
from training.presenters.days import day
from training.reports.progress import TOTAL
from training.web.shared import plain_words
from training.web.shared.report_presenter import RequirementShown
from training.web.student import charts


@dataclass(frozen=True)
class HoursShown:
    """One kind of hours that the test requires: how it grew, with a forecast."""

    requirement: RequirementShown
    counted: tuple[charts.Counted, ...]

    @property
    def words(self) -> str:
        return plain_words.requirement(self.requirement.finding.rule)

    @property
    def anchor(self) -> str:
        return self.requirement.finding.rule.id.replace(".", "-")

    @cached_property
    def forecast(self) -> charts.Forecast | None:
        (remaining,) = self.requirement.finding.remaining
        return charts.forecast(self.counted, self.requirement.on, remaining.value)

    @cached_property
    def chart(self) -> charts.Chart:
        (need,) = self.requirement.finding.need
        return charts.chart(self.counted, self.requirement.on, need.value, self.forecast)

    @property
    def months(self) -> list[tuple[str, str, str]]:
        """For each month with hours: its name, what counted in it, and the total at its end.

        All are rounded down, so the months' hours may add up to less than the total.
        """
        by_month: dict[tuple[int, int], int] = {}
        for when, time in sorted(self.counted):
            key = when.year, when.month
            by_month[key] = by_month.get(key, 0) + time
        rows, total = [], 0
        for (year, month), time in by_month.items():
            total += time
            name = date_format(dt.date(year, month, 1), "YEAR_MONTH_FORMAT")
            rows.append((name, in_hours(time), in_hours(total)))
        return rows

    @property
    def says(self) -> str:
        """The forecast in a sentence."""
        if self.requirement.met:
            return _("All requirements are met.")
        if self.forecast is None:
            return _("Nothing counted in recent weeks, so there is no forecast.")
        one, other = self.forecast.faster.reached, self.forecast.slower.reached
        if one is None:
            return _("At this pace it would take more than three years.")
        if other is None:
            return _("At your pace: between %(day)s and more than three years from now.") % {"day": day(one)}
        if one == other:
            return _("At your pace: %(day)s.") % {"day": day(one)}
        return _("At your pace: between %(first)s and %(last)s.") % {"first": day(one), "last": day(other)}


def hours(report: Report, record: Record) -> list[HoursShown]:
    """The hours that a milestone adds up over all time, each as it grew."""
    on, days = report.question.on, {flight.id: flight.date for flight in record.flights}
    found = []
    for finding in report.findings:
        if finding.rule.kind == TOTAL and not finding.rule.get("window"):
            counted = tuple(
                (days[entry], gave[0].value)
                for entry, gave in finding.counted
                if entry in days and isinstance(gave, tuple)
            )
            found.append(HoursShown(RequirementShown(finding, on), counted))
    return found
