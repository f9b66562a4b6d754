"""Every finding that one record gives by itself."""

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from syllabus.engine.audit import endorsements, entries, solo, tests
from syllabus.engine.audit.audit import Audited, Found, KindOfEndorsement, Minimums
from syllabus.engine.rules.rulebook import Rulebook, Rules


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
    yield from solo.findings(audited, rulebook, rules, minimums)
    yield from endorsements.findings(audited, rulebook, rules, kinds, minimums)
    yield from tests.findings(audited, rulebook)
    yield from entries.findings(audited, rules)
