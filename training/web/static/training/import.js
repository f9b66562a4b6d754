/* An import is confirmed by a passkey over what is put on record and why. */

import { byPasskey, over, written } from "./by_passkey.js";

byPasskey(document.getElementById("confirm"), (form, act) => {
  const reason = written(form.elements.reason);
  return reason && over(act, { reason, sent: act.sent });
}, (form) => form.requestSubmit(form.querySelector("button[name=plan]")));
