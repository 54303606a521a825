// What was written without a signal waits here, locked with a key of its own person, and is sent once, in order.
import { uuid7 } from "./body.js";
import * as store from "./store.js";

const HAPPENED = new Set(["record_load", "finish", "hold"]); // what cannot be unsaid takes any version of the order
const TOLD = new Set(["record_load", "finish"]); // what the farm keeps by its own id even where it refuses it
const EARLY = new Set(["state_conflict", "loads_missing"]);
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

// Take up again what was refused. Whoever asks for it has read the order as it is now; the time stays that of the deed.
export async function again(mine, entry) {
  const { seq, problem, refused, ...rest } = entry;
  if (rest.body.revision) {
    const answer = await fetch(rest.url.replace(/\/actions\/.*/, ""), { headers: { Accept: "application/json" }, cache: "no-store" });
    if (answer.ok) rest.body.revision = (await answer.json()).revision;
    rest.key = uuid7();
  }
  await store.change({ ...(await locked(mine, rest)), seq });
}

// Send what waits, one page at a time. What was refused holds back what goes on from it; what has happened is told all
// the same: the farm keeps it for the manager, and lets it in when what it waited for has come.
export async function send(mine) {
  return navigator.locks.request("send", async () => {
    const told = { sent: 0, stopped: "" };
    for (let moved = new Set([null]); moved.size && !told.stopped;) moved = await round(mine, told, moved);
    return told;
  });
}

async function round(mine, told, moved) {
  const stuck = new Map(), now = new Set(), first = moved.has(null);
  for (const entry of (await list(mine)).own) {
    if (!due(entry, stuck, moved, first)) {
      if (entry.problem) stuck.set(entry.order, entry.refused);
      continue;
    }
    const { outcome, problem } = await deliver(entry), refused = Date.now();
    if (outcome === "sent") { await store.drop(entry.seq); told.sent += 1; if (entry.order) now.add(entry.order); }
    else if (outcome === "refused") { await store.change({ ...(await locked(mine, { ...entry, problem, refused })), seq: entry.seq }); stuck.set(entry.order, refused); }
    else { told.stopped = outcome; break; }
  }
  return now;
}

// Whether an entry is to be sent in this round. What was written before something above it was refused waits for that.
function due(entry, stuck, moved, first) {
  if (entry.problem) return moved.has(entry.order) && entry.problem.every(({ code }) => EARLY.has(code));
  const waits = entry.order && entry.made < (stuck.get(entry.order) ?? 0) && !TOLD.has(entry.action);
  return first && !waits;
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
