/* Which claims raise a question is changed by a passkey over them and the reason. */

import { byPasskey, over, written } from "./by_passkey.js";

byPasskey(document.getElementById("settings"), (form, act) => {
  const claims_asked = [...form.querySelectorAll("input[name=claims_asked]:checked")].map(({ value }) => value);
  const reason = written(form.elements.reason);
  return reason && over(act, { claims_asked, reason });
});
