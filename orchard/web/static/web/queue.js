// What was written without a signal waits here, locked with a key of its own person, and is sent once, in order.
import * as store from "./store.js";

const HAPPENED = new Set(["record_load", "finish", "hold"]); // what cannot be unsaid takes any version of the order
const coder = new TextEncoder(), decoder = new TextDecoder();
export const works = isSecureContext && "serviceWorker" in navigator && "indexedDB" in self && !!crypto.subtle;

// Take the key of whoever this page is for; another person's pages and key go first.
export async function unlock(person, farm) {
  let mine = await store.get("me");
  if (mine && mine.person !== person) { await store.wipe(); mine = undefined; }
  if (mine) return mine;
  const answer = await fetch(`/farms/${farm}/key`, { headers: { Accept: "application/json" } });
  if (!answer.ok || answer.redirected) return undefined;
  const { key, tag } = await answer.json();
  const raw = Uint8Array.from(atob(key), (one) => one.charCodeAt(0));
  mine = { person, tag, key: await crypto.subtle.importKey("raw", raw, "AES-GCM", false, ["encrypt", "decrypt"]) };
  await store.put("me", mine);
  return mine;
}

async function locked(mine, entry) {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const text = coder.encode(JSON.stringify(entry));
  return { tag: mine.tag, iv, text: await crypto.subtle.encrypt({ name: "AES-GCM", iv }, mine.key, text) };
}

async function opened(mine, row) {
  const text = await crypto.subtle.decrypt({ name: "AES-GCM", iv: row.iv }, mine.key, row.text);
  return { ...JSON.parse(decoder.decode(text)), seq: row.seq };
}

export async function add(mine, entry) {
  return store.push(await locked(mine, entry));
}

export async function list(mine) {
  const rows = await store.entries();
  const own = rows.filter((row) => row.tag === mine?.tag);
  return { own: await Promise.all(own.map((row) => opened(mine, row))), others: rows.length - own.length };
}

export const drop = store.drop;

export async function again(mine, entry) {
  const { seq, problem, ...rest } = entry;
  await store.change({ ...(await locked(mine, rest)), seq });
}

// Send what waits. One page at a time; what was refused holds back only what follows for the same order.
export async function send(mine) {
  return navigator.locks.request("send", async () => {
    const told = { sent: 0, stopped: "" };
    const stuck = new Set();
    for (const entry of (await list(mine)).own) {
      if (entry.problem) { stuck.add(entry.order); continue; }
      if (entry.order && stuck.has(entry.order)) continue;
      const { outcome, problem } = await deliver(entry);
      if (outcome === "sent") { await store.drop(entry.seq); told.sent += 1; }
      else if (outcome === "refused") {
        await store.change({ ...(await locked(mine, { ...entry, problem })), seq: entry.seq });
        stuck.add(entry.order);
      } else { told.stopped = outcome; break; }
    }
    return told;
  });
}

async function deliver(entry) {
  try {
    for (let turn = 0; turn < 3; turn++) {
      const match = await version(entry);
      if (match.done) return match.done;
      const answer = await fetch(entry.url, { method: "POST", body: JSON.stringify(entry.body), headers: headers(entry, match.etag) });
      if (answer.status !== 412) return outcome(answer);
    }
    return { outcome: "later" };
  } catch { return { outcome: "no signal" }; }
}

// The version of the order that this acts on; the body's revision says what the crew has read.
async function version(entry) {
  if (!entry.order) return {};
  if (HAPPENED.has(entry.action)) return { etag: "*" };
  const answer = await fetch(entry.url.replace(/\/actions\/.*/, ""), { headers: { Accept: "application/json" }, cache: "no-store" });
  if (!answer.ok) return { done: await outcome(answer) };
  const { status } = await answer.json();
  if (entry.action === "accept" && (status === "accepted" || status === "under_way")) return { done: { outcome: "sent" } };
  return { etag: answer.headers.get("ETag") };
}

function headers(entry, etag) {
  const token = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] ?? "";
  const sent = { "Content-Type": "application/json", "X-CSRFToken": token, "Idempotency-Key": entry.key, "Accept-Language": document.documentElement.lang };
  return etag ? { ...sent, "If-Match": etag } : sent;
}

async function outcome(answer) {
  if (answer.ok) return { outcome: "sent" };
  if (answer.status === 401) return { outcome: "sign in" };
  if (answer.status === 429 || answer.status >= 500) return { outcome: "later" };
  const problem = await answer.json().catch(() => ({ errors: [{ code: "", detail: `${answer.status}` }] }));
  const codes = problem.errors.map((one) => one.code);
  if (codes.includes("csrf_failed")) return { outcome: "sign in" };
  if (codes.includes("idempotency_in_progress")) return { outcome: "later" };
  return { outcome: "refused", problem: problem.errors.map(({ code, detail, finding }) => ({ code, detail: finding ? `${finding.says} ${finding.do ?? ""}` : detail, found: !!finding })) };
}
