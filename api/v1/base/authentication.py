"""Authentication by token or by the session of the pages."""

import re
from typing import Any

from knox.auth import TokenAuthentication as KnoxTokenAuthentication
from rest_framework.exceptions import AuthenticationFailed

_TOKEN = re.compile(rb"[0-9a-f]{16,256}")


class TokenAuthentication(KnoxTokenAuthentication):
    """A token in ``Authorization: Token …``; a malformed one is refused without a query."""

    def authenticate_credentials(self, token: bytes) -> Any:
        if not _TOKEN.fullmatch(token):
            raise AuthenticationFailed("Unknown token. Create one with auth/login.")
        return super().authenticate_credentials(token)
