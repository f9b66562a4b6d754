"""Quantities of a release: how each is read, written and said, in the unit that pilots use for it."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Any

from syllabus.engine.record.json_schema import Schema
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.shapes import Type
from syllabus.engine.time import units


def said(value: Fraction, unit: str) -> str:
    """``12 kt``, ``1.5 SM``: at most two decimals, which pilots round to as well."""
    return f"{round(float(value), 2):g} {unit}"


def _quantity(dimension: str, unit: str, component: str, what: str) -> Type:
    """A quantity in ``unit``; a bare number is in it too."""

    def read(errors: Errors, value: Any, place: str) -> Fraction | None:
        try:
            return units.parse_in(units.as_text(value, dimension), dimension, unit)
        except units.QuantityError as wrong:
            errors.add(place, str(wrong))
            return None

    schema: Schema = {
        "description": f"{what}, in {unit} unless it says its unit.",
        "anyOf": [{"type": "number", "minimum": 0}, {"type": "string", "pattern": "[0-9]"}],
        "examples": [f"12 {unit}", 12],
    }
    return Type(read, schema, lambda value: said(value, unit), component=component)


Speed = Annotated[Fraction, _quantity(units.SPEED, "kt", "WindSpeed", "A speed")]
Height = Annotated[Fraction, _quantity(units.HEIGHT, "ft", "HeightAboveGround", "A height above the ground")]
Visibility = Annotated[Fraction, _quantity(units.DISTANCE, "SM", "Visibility", "A visibility")]
Distance = Annotated[Fraction, _quantity(units.DISTANCE, "NM", "FlightDistance", "A distance")]
Minutes = Annotated[Fraction, _quantity(units.TIME, "min", "Margin", "A time")]
Bearing = Annotated[Fraction, _quantity(units.ANGLE, "deg", "Bearing", "An angle clockwise from north")]
