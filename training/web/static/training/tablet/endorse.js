/* The form of an endorsement: the check runs again when a field changes. What is typed stays as it is. */

import * as sign from "./sign.js";

const PAUSE = 400; // milliseconds without a key before the check runs again
const form = document.getElementById("details");
let waits = 0, asked = 0;

form.addEventListener("input", () => { clearTimeout(waits); waits = setTimeout(check, PAUSE); });

/** What the server says of the fields as they are now; the button does the same without this script. */
async function check() {
  const now = ++asked;
  const address = `${form.getAttribute("action")}?${new URLSearchParams(new FormData(form))}`;
  let page;
  try {
    const answer = await fetch(address);
    if (!answer.ok || answer.redirected) return;
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch { return; /* the button still works */ }
  if (now !== asked) return;
  history.replaceState(null, "", address);
  const judgement = document.getElementById("judgement")?.value;
  for (const id of ["errors", "checked"]) document.getElementById(id).replaceWith(page.getElementById(id));
  for (const field of form.querySelectorAll("[id^=field-]")) {
    const input = field.querySelector("[name]");
    const made = page.getElementById(field.id);
    for (const each of field.querySelectorAll(".aside, .wrong")) each.remove();
    field.append(...made.querySelectorAll(".aside, .wrong"));
    input.toggleAttribute("aria-invalid", made.querySelector("[aria-invalid]") !== null);
    if (input.hasAttribute("aria-invalid")) input.setAttribute("aria-invalid", "true");
  }
  const signature = document.querySelector(".confirming");
  if (!signature) return;
  if (judgement) document.getElementById("judgement").value = judgement;
  sign.act(signature);
}
