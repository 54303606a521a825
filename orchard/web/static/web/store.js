// What is kept on the phone: `queue`, locked entries in the order they were written; `kept`, the key and where a mix stands.
let opening;

function open() {
  return (opening ??= new Promise((done, fail) => {
    const asked = indexedDB.open("orchard", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("queue", { keyPath: "seq", autoIncrement: true });
      asked.result.createObjectStore("kept");
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  }));
}

async function run(name, mode, work) {
  const base = await open();
  return new Promise((done, fail) => {
    const change = base.transaction(name, mode, { durability: "strict" });
    const asked = work(change.objectStore(name));
    change.oncomplete = () => done(asked?.result);
    change.onerror = change.onabort = () => fail(change.error);
  });
}

export const get = (key) => run("kept", "readonly", (store) => store.get(key));
export const put = (key, value) => run("kept", "readwrite", (store) => store.put(value, key));
export const forget = (key) => run("kept", "readwrite", (store) => store.delete(key));
export const forgetAll = () => run("kept", "readwrite", (store) => store.clear());
export const entries = () => run("queue", "readonly", (store) => store.getAll());
export const push = (entry) => run("queue", "readwrite", (store) => store.add(entry));
export const change = (entry) => run("queue", "readwrite", (store) => store.put(entry));
export const drop = (seq) => run("queue", "readwrite", (store) => store.delete(seq));

// Nothing of the farm is left that can be read but the emergency card: pages, key and progress go, the locked queue stays.
export async function wipe() {
  await forgetAll();
  await caches.delete("pages");
}
