/* The key "/" goes to the search, wherever one is not typing. Whoever dictates or slips can turn that off (WCAG 2.1.4). */

const OFF = "slash-is-a-slash";

/** Whether the key does nothing on this device. */
function off() {
  try { return localStorage.getItem(OFF) === "1"; } catch { return false; }
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented || off()) return;
  if (event.target.closest?.("input, textarea, select, [contenteditable]")) return;
  const field = document.querySelector("form[role=search] input[type=search]");
  const link = document.querySelector("a[aria-keyshortcuts='/']");
  if (!field && !link) return;
  event.preventDefault();
  if (field) { field.focus(); field.select(); } else { link.click(); }
});

const choice = document.getElementById("slash");
if (choice) {
  const box = choice.querySelector("input");
  box.checked = !off();
  choice.hidden = false;
  box.addEventListener("change", () => {
    try {
      if (box.checked) localStorage.removeItem(OFF); else localStorage.setItem(OFF, "1");
    } catch { box.checked = true; }
  });
}
