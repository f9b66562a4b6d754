/* A student signs with a passkey that a lesson's record is known. */

import { byPasskey } from "./by_passkey.js";

byPasskey(document.getElementById("acknowledge"), (form, act) => JSON.parse(act.statement));
