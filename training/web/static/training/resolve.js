/* That a finding was dealt with is confirmed by a passkey over what is noted. */

import { byPasskey, over, written } from "./by_passkey.js";

byPasskey(document.getElementById("resolve"), (form, act) => {
  const note = written(form.elements.note);
  return note && over(act, { digest: act.digest, how: form.elements.how.value, note });
});
