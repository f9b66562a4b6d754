/* Entries are attested by a passkey over which they are and what was seen. */

import { byPasskey, over } from "./by_passkey.js";

byPasskey(document.getElementById("attest"), (form, act) => {
  const marked = [...document.querySelectorAll("input[name=entry][form=attest]:checked")];
  const saw = form.elements.saw.value.trim();
  if (!marked.length || !saw) return null;
  const entries = marked.map(({ value }) => ({ part: value.split(":")[0], id: value.slice(value.indexOf(":") + 1) }));
  return over(act, { entries, saw });
});
