/* A solo release: an instructor decides with a passkey; the device of whoever opened it keeps it for the ramp. */

import { byPasskey, over, written } from "./by_passkey.js";
import { keep, watch } from "./tablet/releases.js";

byPasskey(document.getElementById("decide"), (form, act) => {
  const { checked, decision, reason } = form.elements;
  const boxes = [...form.querySelectorAll("input[name=line]")];
  const needed = reason.dataset.needed || boxes.some((each) => !each.checked);
  const said = needed ? written(reason) : reason.value.replaceAll("\r\n", "\n").trim();
  if (needed && !said) return null;
  const lines_confirmed = boxes.filter((each) => each.checked).map((each) => each.value).sort();
  return over(act, { checked: checked.value, decision: decision.value, lines_confirmed, reason: said });
});

const shown = document.getElementById("release");
watch(shown);
if (navigator.serviceWorker) navigator.serviceWorker.register(shown.dataset.worker, { scope: "/" });
keep(shown);
