"""``python -m training.management COMMAND``: what the image runs, as ``manage.py`` without its set-up.

A database that is away or a setting that cannot work ends in one line, not in a trace.
"""

import os
import sys

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.db import InterfaceError, OperationalError

from training.database import name_of

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "training.config.settings")
    try:
        execute_from_command_line(["manage.py", *sys.argv[1:]])
    except ImproperlyConfigured as fault:
        sys.exit(f"A setting cannot work: {fault}")
    except (OperationalError, InterfaceError) as fault:
        said = str(fault).partition("\n")[0]
        sys.exit(f"The database cannot be used ({name_of(fault)}): {said}")
