"""A pickle that runs code, for what must not be unpickled."""

import base64
import pickle


class Planted:
    """An object that says so when it is unpickled."""

    ran = False

    def __reduce__(self) -> tuple[object, ...]:
        return setattr, (Planted, "ran", True)


#: As Django's own cache in the database would have it.
PICKLED = base64.b64encode(pickle.dumps(Planted())).decode()
