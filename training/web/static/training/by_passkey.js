/* A form that a passkey confirms: its answer goes with the form. */

import { available, confirm, contentHash, reason, statement } from "./passkeys.js";

/**
 * Offer a passkey on a form, or on a part of it, whose data names the user's passkeys.
 *
 * `work`: done at each press of the button, with the ids of the passkeys and `tell`, which shows words beside it.
 */
export function offer(part, work) {
  const allow = JSON.parse(part?.dataset.passkeys || "[]");
  if (!available() || !allow.length) return;
  part.querySelector(".by-passkey").hidden = false;
  part.querySelector(".passkey").addEventListener("click", async () => {
    const tell = (words) => say(part, words);
    tell("");
    try {
      await work(allow, tell);
    } catch (error) {
      tell(reason(error));
    }
  });
}

/** Show words where a form tells what went wrong; none take them away. */
export function say(part, words) {
  const place = part.querySelector(".wrong[role=alert]");
  place.textContent = words;
  place.hidden = !words;
}

/** Let a passkey confirm what a form does. `said`: what is signed; nothing while something is still blank. */
export function byPasskey(part, said, send = (form) => form.submit()) {
  offer(part, async (allow, tell) => {
    const form = part.closest("form");
    const signed = await said(form, part.dataset);
    if (!signed) { tell(part.dataset.blank); return; }
    form.elements.passkey.value = JSON.stringify(await confirm(signed, { allow }));
    send(form);
  });
}

/** What is signed where the page's data names the act, and its content is made here. */
export async function over({ kind, subject, about }, content) {
  return statement({ kind, subject, about, hash: await contentHash(content) });
}

/** A text as the server reads it; where it is blank, the field is where one writes next. */
export function written(field) {
  const text = field.value.replaceAll("\r\n", "\n").trim();
  if (!text) field.focus();
  return text;
}
