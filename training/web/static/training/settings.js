/* Which claims raise a question is changed by a passkey over them and the reason: its answer goes with the form. */

import { available, confirm, contentHash, reason, statement } from "./passkeys.js";

const form = document.getElementById("settings");
const allow = JSON.parse(form?.dataset.passkeys || "[]");

if (form && available() && allow.length) {
  const wrong = form.querySelector(".wrong[role=alert]");
  const tell = (words) => { wrong.textContent = words; wrong.hidden = !words; };
  form.querySelector(".by-passkey").hidden = false;
  form.querySelector(".passkey").addEventListener("click", async () => {
    tell("");
    const claims_asked = [...form.querySelectorAll("input[name=claims_asked]:checked")].map(({ value }) => value);
    const { kind, subject, about } = form.dataset;
    try {
      const hash = await contentHash({ claims_asked, reason: form.elements.reason.value.trim() });
      form.elements.passkey.value = JSON.stringify(await confirm(statement({ kind, subject, about, hash }), { allow }));
      form.submit();
    } catch (error) {
      tell(reason(error));
    }
  });
}
