/* Entries are attested by a passkey over which they are and what was seen: its answer goes with the form. */

import { available, confirm, contentHash, reason, statement } from "./passkeys.js";

const form = document.getElementById("attest");
const allow = JSON.parse(form?.dataset.passkeys || "[]");

if (form && available() && allow.length) {
  const wrong = form.querySelector(".wrong[role=alert]");
  const tell = (words) => { wrong.textContent = words; wrong.hidden = !words; };
  form.querySelector(".by-passkey").hidden = false;
  form.querySelector(".passkey").addEventListener("click", async () => {
    tell("");
    const marked = [...document.querySelectorAll("input[name=entry][form=attest]:checked")];
    const saw = form.elements.saw.value.trim();
    if (!marked.length || !saw) { tell(form.dataset.blank); return; }
    const entries = marked.map(({ value }) => ({ part: value.split(":")[0], id: value.slice(value.indexOf(":") + 1) }));
    const { kind, subject, about } = form.dataset;
    try {
      const hash = await contentHash({ entries, saw });
      form.elements.passkey.value = JSON.stringify(await confirm(statement({ kind, subject, about, hash }), { allow }));
      form.submit();
    } catch (error) {
      tell(reason(error));
    }
  });
}
