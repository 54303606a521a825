// Signing out, and the pages before and after it.
import * as store from "./store.js";
import { works } from "./queue.js";

const token = () => document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] ?? "";

// End the session here at once and at the server as soon as it answers.
export async function signOut() {
  if (works) { await store.wipe(); await store.put("out", true); }
  try {
    const answer = await fetch("/sign-out", { method: "POST", headers: { "X-CSRFToken": token() }, redirect: "follow" });
    if (answer.ok && works) await store.forget("out");
    location.replace("/sign-in");
  } catch { location.replace("/signed-out"); }
}

for (const form of document.querySelectorAll("[data-sign-out], #end"))
  form.addEventListener("submit", (event) => { event.preventDefault(); signOut(); });

if (works) {
  // The emergency card needs nobody signed in.
  const cards = document.getElementById("cards");
  if (cards) caches.open("cards").then((one) => one.keys()).then((keys) => {
    cards.hidden = keys.length === 0;
    cards.replaceChildren(...keys.map(({ url }) => Object.assign(document.createElement("a"), { href: url, className: "next stop", textContent: cards.dataset.name })));
  });
  const kept = document.getElementById("kept");
  if (kept) store.entries().then((rows) => { kept.hidden = rows.length === 0; });
  // A session that was ended without a signal is ended at the server before anybody signs in anew.
  if (location.pathname === "/sign-in")
    store.get("out").then((out) => out && fetch("/sign-out", { method: "POST", headers: { "X-CSRFToken": token() } }).then((answer) => answer.ok && store.forget("out").then(() => location.reload())).catch(() => {}));
}
