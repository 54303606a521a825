// A crew's pages: one part at a time, and what is written down goes into the queue first, then to the farm.
import { bodyOf, now, uuid7 } from "./body.js";
import * as queue from "./queue.js";
import * as store from "./store.js";
import "./door.js";

const page = document.body.dataset, words = document.getElementById("words"), bar = document.getElementById("signal");
const say = (name, fill = {}) => Object.entries(fill).reduce((text, [key, value]) => text.replaceAll(`{${key}}`, value), words.getAttribute(`data-${name}`) ?? "");
const plan = (() => { const found = document.getElementById("plan"); return found && JSON.parse(found.dataset.plan); })();
const api = `/api/v1/farms/${page.farm}`;
let mine;

begin();

async function begin() {
  if (plan) oneAtATime();
  if (!queue.works) return online(say("online-only"));
  if (await store.get("out")) return location.replace("/signed-out");
  navigator.serviceWorker.register(page.worker);
  mine = await queue.unlock(page.person, page.farm).catch(() => undefined);
  if (!mine) return;
  for (const form of document.querySelectorAll("form[data-action]")) form.addEventListener("submit", written);
  aboutOrder();
  if (plan) await where();
  await look();
  await cards();
  keepToday();
  navigator.serviceWorker.addEventListener("message", ({ data }) => data.fresh === location.pathname && !busy() && location.reload());
  addEventListener("online", flush);
  addEventListener("offline", look);
  document.addEventListener("visibilitychange", () => document.hidden || flush());
  setInterval(flush, 15000);
  flush();
}

// A kept page of a danger knows no order; the address does.
function aboutOrder() {
  const field = document.querySelector('form[data-action="incident"] [name="work_order"]');
  const order = new URLSearchParams(location.search).get("order");
  if (field && !field.value && /^[0-9a-f-]{36}$/.test(order ?? "")) field.value = order;
}

// One part at a time

function oneAtATime() {
  document.body.classList.add("alone");
  addEventListener("hashchange", () => show(true));
  show(document.getElementById("plan").dataset.asked !== "");
}

function show(focus) {
  const asked = document.getElementById("plan").dataset.asked, part = { record_load: "record", accept: "order" }[asked] ?? asked;
  const wanted = location.hash.slice(1) || part;
  const section = document.getElementById(wanted)?.closest("section") ?? document.getElementById("order");
  for (const one of document.querySelectorAll("main > section")) one.classList.toggle("shown", one === section);
  if (section.id === "record") prefill();
  if (section.classList.contains("mixing")) remember(section);
  if (!focus) return;
  scrollTo(0, 0);
  const target = section.querySelector(".wrong:not([hidden])") ?? section.querySelector("h2");
  target.tabIndex = -1;
  target.focus({ preventScroll: true });
}

function go(part) {
  history.pushState(null, "", `#${part}`);
  show(true);
}

// Where the work stands: what the farm knows, and on top of it what still waits on this phone.

async function where() {
  const { own } = await queue.list(mine);
  const state = { status: plan.status, recorded: [...plan.recorded] };
  for (const entry of own.filter((one) => one.order === plan.order && !one.problem)) after(state, entry);
  plan.now = state;
  plan.load = plan.loads.find((one) => !state.recorded.includes(one.number));
  if (state.status !== plan.status || state.recorded.length !== plan.recorded.length) await tell(state);
  withIncidents(own);
  await pickUp();
}

// What went wrong and still waits on this phone belongs to the end of the work; then nobody says that nothing happened.
function withIncidents(own) {
  const told = own.filter((one) => one.action === "incident" && one.body.work_order === plan.order);
  const form = document.querySelector('form[data-action="finish"]'), fine = form?.elements.namedItem("nothing_unusual:bool");
  if (!told.length || !fine) return;
  fine.closest(".field").remove();
  told.forEach((one, at) => form.append(Object.assign(document.createElement("input"), { type: "hidden", name: `incidents.${at}`, value: one.body.id })));
}

const BECOMES = { accept: "accepted", start: "under_way", finish: "done", hold: "held", resume: "under_way" };

function after(state, { action, body }) {
  if (action === "record_load") state.recorded.push(body.number);
  else if (action === "hold") { state.before = state.status; state.status = "held"; }
  else if (action === "resume") state.status = state.before ?? plan.held_from ?? "under_way";
  else state.status = BECOMES[action] ?? state.status;
}

async function tell(state) {
  document.getElementById("state").textContent = say(`status-${state.status}`);
  const next = document.getElementById("next"), link = document.createElement("a");
  const step = { accepted: "start", under_way: plan.kind === "spray" && plan.load ? "mix" : "finish", held: "resume" }[state.status];
  next.replaceChildren();
  if (!step) { const told = document.createElement("p"); told.className = "good"; told.textContent = say("done"); return next.append(told); }
  link.className = "next";
  link.href = step === "mix" ? `#mix-${plan.load.group}-1` : `#${step}`;
  link.textContent = say(`step-${step}`, { n: plan.load?.number ?? "" });
  next.append(link);
}

async function cards() {
  for (const entry of (await queue.list(mine)).own) {
    const card = entry.problem ? null : document.querySelector(`.card[data-order="${entry.order}"] .state`);
    if (card && BECOMES[entry.action]) card.textContent = say(`status-${BECOMES[entry.action]}`);
  }
}

// A mix that was interrupted goes on at its step.

async function remember(section) {
  for (const one of section.querySelectorAll("[data-load]")) if (plan.load) one.textContent = say("load", { n: plan.load.number });
  if (mine && plan.load) await store.put(`mix-${plan.order}`, { at: section.id, load: plan.load.number });
}

async function pickUp() {
  const link = document.querySelector('#next a[href^="#mix-"]'), stood = await store.get(`mix-${plan.order}`);
  if (!link || !plan.load) return;
  link.textContent = say("step-mix", { n: plan.load.number });
  link.href = stood?.load === plan.load.number ? `#${stood.at}` : `#mix-${plan.load.group}-1`;
}

function prefill() {
  const form = document.querySelector('form[data-action="record_load"]');
  if (!plan.load || form.dataset.load === String(plan.load.number) || document.getElementById("plan").dataset.asked === "record_load") return;
  form.reset();
  form.dataset.load = plan.load.number;
  form.elements["number:int"].value = plan.load.number;
  form.elements["spray.value"].value = plan.load.spray.value;
  form.elements["spray.unit"].value = plan.load.spray.unit;
}

// Writing down

async function written(event) {
  const form = event.target, action = form.dataset.action;
  event.preventDefault();
  if (!mine || !right(form)) return;
  form.querySelector("button.next").disabled = true;
  for (const one of form.querySelectorAll("[data-now]")) one.value = now();
  const id = form.elements.namedItem("id");
  if (id && !id.value) id.value = uuid7();
  const key = form.elements.namedItem("key");
  key.value = uuid7();
  const order = action === "incident" ? null : plan.order;
  const url = order ? `${api}/work-orders/${order}/actions/${action}` : `${api}/incidents`;
  const entry = { key: key.value, url, action, order, title: form.dataset.title, at: now(), made: Date.now(), body: bodyOf(form) };
  const seq = await queue.add(mine, entry);
  if (action === "record_load") await store.forget(`mix-${order}`);
  const told = navigator.onLine ? await Promise.race([queue.send(mine), new Promise((done) => setTimeout(done, 5000, { stopped: "later" }))]) : { stopped: "no signal" };
  await settled(form, seq, told);
}

// Sent: read the page anew. Refused with the writer here: let the server say it beside the fields. Else it waits.
async function settled(form, seq, told) {
  const entry = (await queue.list(mine)).own.find((one) => one.seq === seq);
  const incident = form.dataset.action === "incident";
  if (entry?.problem) { await queue.drop(seq); form.querySelector("button.next").disabled = false; return form.submit(); }
  if (!entry && !told.stopped && incident) return location.replace(`${location.pathname}?told=1`);
  if (!entry && !told.stopped) { history.replaceState(null, "", `${location.pathname}#next`); return anew(); }
  form.querySelector("button.next").disabled = false;
  form.reset();
  await look();
  if (incident) return location.assign(`/farms/${page.farm}/sent`);
  await where();
  history.replaceState(null, "", `${location.pathname}#next`);
  show(true);
}

function right(form) {
  let fine = true;
  for (const input of form.querySelectorAll('input[inputmode="decimal"]')) {
    const text = input.value.trim();
    let wrong = text && !/^-?\d+(\.\d+)?$/.test(text) ? say("number") : "";
    if (!wrong && text && input.dataset.most) wrong = tooWindy(input, Number(text));
    fine = mark(input, wrong) && fine;
  }
  for (const one of form.querySelectorAll("select[data-only]")) fine = mark(one, one.value && one.value !== one.dataset.only ? say("wrong-block") : "") && fine;
  const whole = form.querySelector(".wrong");
  whole.hidden = fine;
  whole.replaceChildren(Object.assign(document.createElement("p"), { textContent: fine ? "" : say("marked") }));
  if (!fine) form.querySelector('[aria-invalid="true"]').focus();
  return fine;
}

const METRES = { mph: 0.44704, "km/h": 1 / 3.6, "m/s": 1 };

function tooWindy(input, value) {
  const unit = input.form.elements[input.name.replace(".value", ".unit")].value;
  const { most, mostUnit } = input.dataset;
  if (!(unit in METRES && mostUnit in METRES) || value * METRES[unit] <= Number(most) * METRES[mostUnit] * 1.0000001) return "";
  return say("too-windy", { value: `${value} ${unit}`, limit: `${most} ${mostUnit}` });
}

function mark(input, wrong) {
  const id = `${input.id}-js`, before = document.getElementById(id);
  before?.remove();
  input.toggleAttribute("aria-invalid", false);
  if (!wrong) return true;
  input.setAttribute("aria-invalid", "true");
  input.setAttribute("aria-describedby", id);
  const told = Object.assign(document.createElement("p"), { className: "error", id, textContent: wrong });
  input.closest(".field").append(told);
  return false;
}

// Sending, and saying what is sent and what is not

async function flush() {
  if (!mine) return;
  const before = (await queue.list(mine)).own.filter((one) => !one.problem).length;
  const told = before && navigator.onLine ? await queue.send(mine) : { sent: 0, stopped: before ? "no signal" : "" };
  await look(told);
  if (told.sent && !busy()) refresh(told);
}

// What was sent changes what the farm knows: the page is read anew, unless somebody is writing on it.
function refresh(told) {
  if (!told.stopped && (plan || document.getElementById("waiting") || document.getElementById("today"))) anew();
}

async function anew() {
  await fetch(location.pathname, { headers: { "X-Fresh": "1" } }).catch(() => {});
  location.reload();
}

function busy() {
  const shown = document.querySelector("main > section.shown");
  return !!document.querySelector("input:focus, textarea:focus, select:focus") || !!(plan && shown && shown.id !== "order");
}

async function look(told = {}) {
  const { own, others } = await queue.list(mine);
  const refused = own.filter((one) => one.problem).length, waiting = own.length - refused;
  online(refused ? say("refused", { n: refused }) : waiting && told.stopped === "sign in" ? say("sign-in", { n: waiting }) : waiting ? say("waiting", { n: waiting }) : navigator.onLine ? "" : say("no-signal"), refused > 0, told.stopped === "sign in" ? `/sign-in?next=${encodeURIComponent(location.pathname)}` : refused ? `/farms/${page.farm}/sent` : "");
  listed(own, others);
}

function online(text, bad = false, href = "") {
  bar.hidden = !text;
  bar.classList.toggle("bad", bad);
  const told = href ? Object.assign(document.createElement("a"), { href }) : document.createElement("span");
  told.textContent = text;
  bar.replaceChildren(told);
}

function listed(own, others) {
  const list = document.getElementById("waiting");
  if (!list) return;
  document.getElementById("none-waiting").hidden = own.length > 0;
  const stuck = new Map();
  list.replaceChildren(...own.map((entry) => card(entry, stuck)));
  const told = document.getElementById("others");
  told.hidden = !others;
  told.textContent = say("others", { n: others });
}

function card(entry, stuck) {
  const row = document.createElement("li"), box = row.appendChild(Object.assign(document.createElement("div"), { className: entry.problem ? "card wrong" : "card" }));
  const what = entry.action === "record_load" ? `${say("load", { n: entry.body.number })}: ${say("record_load")}` : say(entry.action);
  box.append(Object.assign(document.createElement("b"), { textContent: what }), document.createElement("br"), `${entry.title} · ${new Date(entry.at).toLocaleString(document.documentElement.lang)}`);
  const state = document.createElement("p");
  state.textContent = entry.problem ? `${say("was-refused")}: ${entry.problem.map((one) => (one.found ? one.detail : say(`code-${one.code}`) || one.detail)).join(" ")}` : say(entry.made < (stuck.get(entry.order) ?? 0) ? "held-back" : "is-waiting");
  box.append(state);
  if (entry.problem && ["record_load", "finish"].includes(entry.action)) box.append(Object.assign(document.createElement("p"), { textContent: say("farm-kept") }));
  if (entry.problem && entry.action === "start") box.append(Object.assign(document.createElement("a"), { href: `/farms/${page.farm}/work/${entry.order}`, textContent: say("read-again") }));
  if (entry.problem) { if (entry.order) stuck.set(entry.order, entry.refused); box.append(button("again", async () => { await queue.again(mine, entry); flush(); }), button("remove", async () => { if (confirm(say("sure"))) { await queue.drop(entry.seq); look(); } })); }
  return row;
}

function button(name, act) {
  const made = Object.assign(document.createElement("button"), { className: "plain", textContent: say(name) });
  made.addEventListener("click", act);
  return made;
}

// The day's work is read ahead; pages of work that is over go.

async function keepToday() {
  const today = document.getElementById("today");
  if (!today || !navigator.onLine) return;
  await navigator.serviceWorker.ready;
  const wanted = [...today.dataset.keep.split(" ").filter(Boolean), `/farms/${page.farm}/sent`, `/farms/${page.farm}/incident`, `${api}/emergency-list.html`], papers = today.dataset.papers.split(" ").filter(Boolean);
  const kept = await caches.open("pages");
  for (const one of await kept.keys()) { const { pathname } = new URL(one.url); if (![location.pathname, ...wanted, ...papers].includes(pathname)) await kept.delete(one); }
  for (const path of [location.pathname, ...wanted]) { const answer = await fetch(path).catch(() => undefined); if (answer?.ok && !answer.redirected) await kept.put(path, answer); }
  const card = `/farms/${page.farm}/emergency`, told = await fetch(card).catch(() => undefined);
  if (told?.ok && !told.redirected) await (await caches.open("cards")).put(card, told);
  // The bytes of a label file never change: each is fetched once.
  for (const path of papers) if (!(await kept.match(path))) { const answer = await fetch(path).catch(() => undefined); if (answer?.ok && !answer.redirected) await kept.put(path, answer); }
  today.dataset.ready = "true";
}
