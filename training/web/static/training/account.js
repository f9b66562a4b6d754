/* The account's pages: a form with data-passkey asks the browser for a passkey's answer, and sends it. */

import { available, login, reason, register } from "./passkeys.js";
import { gettext } from "./words.js";

async function answer(form) {
  if (form.dataset.passkey === "login") {
    const asked = await fetch(form.action, { headers: { Accept: "application/json" } });
    if (!asked.ok) throw new Error(gettext("the server did not answer"));
    return login((await asked.json()).request_options);
  }
  const options = JSON.parse(form.dataset.options);
  return form.dataset.passkey === "create" ? register(options) : login(options);
}

for (const form of document.querySelectorAll("form[data-passkey]")) {
  const wrong = form.querySelector(".wrong");
  const tell = (words) => {
    wrong.textContent = words;
    wrong.hidden = false;
  };
  const ready = available();
  if (ready) {
    form.hidden = false;
  } else if (!form.hidden) {
    tell(gettext("This browser cannot use passkeys at this address. Open the page by its host name over https."));
    form.querySelector("button").disabled = true;
  }
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    wrong.hidden = true;
    try {
      form.elements.credential.value = JSON.stringify(await answer(form));
      form.submit();
    } catch (error) {
      tell(reason(error));
    }
  });
  // Pressed before this stood here, the form would go off without an answer.
  if (ready) form.querySelector("button").disabled = false;
}
