// The JSON body that a form stands for: the same as `orchard/web/acting.py` builds from it.
const SKIPPED = new Set(["csrfmiddlewaretoken", "key"]);

export function bodyOf(form) {
  const tree = {};
  for (const [name, text] of new FormData(form)) if (!SKIPPED.has(name)) put(tree, name, text.trim());
  return pruned(tree) ?? {};
}

function put(tree, name, text) {
  const [path, kind] = name.split(":");
  const parts = path.split(".");
  const last = parts.pop();
  for (const part of parts) tree = tree[part] ??= {};
  tree[last] = kind === "bool" ? text === "true" : kind === "int" && /^-?\d+$/.test(text) ? Number(text) : text;
}

function pruned(tree) {
  if (typeof tree !== "object") return tree === "" ? undefined : tree;
  const kept = {};
  for (const [name, one] of Object.entries(tree)) {
    const found = pruned(one);
    if (found !== undefined) kept[name] = found;
  }
  if ("unit" in tree && !("value" in kept)) return undefined;
  if ("lot" in tree && !("amount" in kept)) return undefined;
  const names = Object.keys(tree);
  if (names.length && names.every((one) => /^\d+$/.test(one))) {
    const list = Object.keys(kept).sort((a, b) => a - b).map((one) => kept[one]);
    return list.length ? list : undefined;
  }
  return Object.keys(kept).length ? kept : undefined;
}

// A moment with the phone's own offset, so that the record keeps the crew's clock.
export function now() {
  const at = new Date();
  const ahead = -at.getTimezoneOffset();
  const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
  const local = new Date(at.getTime() + ahead * 60000).toISOString().slice(0, 19);
  return `${local}${ahead < 0 ? "-" : "+"}${two(ahead / 60)}:${two(ahead % 60)}`;
}

// UUID version 7 (RFC 9562): ids made on this phone sort by time and meet no other.
export function uuid7() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let time = Date.now();
  for (let at = 5; at >= 0; at--) { bytes[at] = time % 256; time = Math.floor(time / 256); }
  bytes[6] = (bytes[6] & 15) | 112;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
