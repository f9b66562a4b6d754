"""Every finding that one record gives by itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from syllabus.engine import audit_endorsements, audit_entries, audit_solo, audit_tests
from syllabus.engine.audit import Audited, Found, KindOfEndorsement, Minimums
from syllabus.engine.rulebook import Rulebook, Rules


def findings(
    audited: Audited,
    rulebook: Rulebook,
    rules: Rules,
    kinds: Mapping[str, KindOfEndorsement],
    minimums: Minimums = MappingProxyType({}),
) -> Iterator[Found]:
    """Solo flights, endorsements and recommendations, tests, and what entries do not say, in that order.

    ``kinds`` is the catalogue of endorsements, by kind; ``minimums`` what the school asks beyond the law.
    """
    yield from audit_solo.findings(audited, rulebook, rules, minimums)
    yield from audit_endorsements.findings(audited, rulebook, rules, kinds, minimums)
    yield from audit_tests.findings(audited, rulebook)
    yield from audit_entries.findings(audited, rules)
