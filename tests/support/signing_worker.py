"""Signs lesson records until it is killed: a process of its own for the tests of reliability.

Arguments: a file with the instructor's key and, one a line, the lesson records; and the file to which each is
written, with its place in the ledger, once its sign-off is committed.
"""

from __future__ import annotations

import os
import sys


def main(todo: str, done: str) -> None:
    import django

    django.setup()
    from tests.support.lessons import sign
    from training.models import LessonRecord, User

    with open(todo, encoding="ascii") as given:
        key, *wanted = given.read().split()
    instructor = User.objects.get(pk=key)
    answers = os.open(done, os.O_WRONLY | os.O_APPEND)
    for each in wanted:
        lesson = LessonRecord.objects.get(pk=each)
        signed = sign(lesson, instructor)
        os.write(answers, f"{each} {signed.pk} {signed.ledger_index}\n".encode())


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")
    main(*sys.argv[1:])
