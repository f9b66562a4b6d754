"""Asks this container's own web server one address, for its health check; the standard library alone.

``python docker/probe.py /readyz``: exit code 0 for an answer of 200, else 1 with what came instead.
"""

import http.client
import os
import sys


def main(path: str) -> str:
    """Empty where all is well."""
    port = int(os.environ.get("PORT", "8000"))
    # The server answers to its own names only, this machine's not among them.
    host = os.environ.get("ALLOWED_HOSTS", "").split(",")[0].strip().lstrip(".") or "localhost"
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=8)
    try:
        connection.request("GET", path, headers={"Host": host})
        answer = connection.getresponse()
        said = answer.read(2000).decode(errors="replace")
    except OSError as fault:
        return f"port {port} does not answer: {fault}"
    finally:
        connection.close()
    return "" if answer.status == 200 else f"{answer.status}: {said}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]) or 0)
