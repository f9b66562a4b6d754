/* A student signs with a passkey that a lesson's record is known: its answer goes with the form. */

import { available, confirm, reason } from "./passkeys.js";

const form = document.getElementById("acknowledge");
const allow = JSON.parse(form?.dataset.passkeys || "[]");

if (form && available() && allow.length) {
  const wrong = form.querySelector(".wrong");
  form.querySelector(".by-passkey").hidden = false;
  form.querySelector(".passkey").addEventListener("click", async () => {
    wrong.hidden = true;
    try {
      form.elements.passkey.value = JSON.stringify(await confirm(JSON.parse(form.dataset.statement), { allow }));
      form.submit();
    } catch (error) {
      wrong.textContent = reason(error);
      wrong.hidden = false;
    }
  });
}
