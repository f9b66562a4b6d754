"""Makes one PDF in a process of its own: JSON on standard input, the file on standard output.

What a compiler takes is given back when the process ends, and a document that would take the machine's
memory ends this process alone.
"""

import datetime as dt
import json
import resource
import sys

from training import pdf

if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (pdf.MEMORY, pdf.MEMORY))
    asked = json.load(sys.stdin)
    made = pdf.make(asked["template"], asked["data"], at=dt.datetime.fromisoformat(asked["at"]))
    sys.stdout.buffer.write(made)
