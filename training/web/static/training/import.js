/* An import is confirmed by a passkey over what is put on record and why: its answer goes with the form. */

import { available, confirm, contentHash, reason as why, statement } from "./passkeys.js";

const part = document.getElementById("confirm");
const allow = JSON.parse(part?.dataset.passkeys || "[]");

if (part && available() && allow.length) {
  const form = part.closest("form");
  const wrong = part.querySelector(".wrong[role=alert]");
  const tell = (words) => { wrong.textContent = words; wrong.hidden = !words; };
  part.querySelector(".by-passkey").hidden = false;
  part.querySelector(".passkey").addEventListener("click", async () => {
    tell("");
    const reason = form.elements.reason.value.replaceAll("\r\n", "\n").trim();
    if (!reason) { tell(part.dataset.blank); form.elements.reason.focus(); return; }
    const { kind, subject, about, sent } = part.dataset;
    try {
      const hash = await contentHash({ reason, sent });
      form.elements.passkey.value = JSON.stringify(await confirm(statement({ kind, subject, about, hash }), { allow }));
      form.requestSubmit(form.querySelector("button[name=plan]"));
    } catch (error) {
      tell(why(error));
    }
  });
}
