/* That a finding was dealt with is confirmed by a passkey over what is noted: its answer goes with the form. */

import { available, confirm, contentHash, reason, statement } from "./passkeys.js";

const form = document.getElementById("resolve");
const allow = JSON.parse(form?.dataset.passkeys || "[]");

if (form && available() && allow.length) {
  const wrong = form.querySelector(".wrong[role=alert]");
  const tell = (words) => { wrong.textContent = words; wrong.hidden = !words; };
  form.querySelector(".by-passkey").hidden = false;
  form.querySelector(".passkey").addEventListener("click", async () => {
    tell("");
    const note = form.elements.note.value.replaceAll("\r\n", "\n").trim();
    if (!note) { tell(form.dataset.blank); form.elements.note.focus(); return; }
    const { kind, subject, about, digest } = form.dataset;
    try {
      const hash = await contentHash({ digest, how: form.elements.how.value, note });
      form.elements.passkey.value = JSON.stringify(await confirm(statement({ kind, subject, about, hash }), { allow }));
      form.submit();
    } catch (error) {
      tell(reason(error));
    }
  });
}
