// What a page writes down in its very last moment, when neither the browser's store nor its cipher can be waited for.
//
// It stands closed like everything else: `ahead` lets the cipher run over nothing beforehand, and what comes out is laid
// over the words when they are left. No stretch of that is used twice.

const STEM = "coldframe left ";
const MOST = 256 * 1024; // bytes: the longest text that the room takes, and what is written around it
export const toBytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const toText = (bytes) => bytes.reduce((text, byte) => text + String.fromCharCode(byte), "");
const over = (words, stretch) => words.map((byte, at) => byte ^ stretch[at]);

async function stretchOf(key, iv, length) {
  return new Uint8Array(await crypto.subtle.encrypt({ name: "AES-GCM", iv }, key, new Uint8Array(length))).subarray(0, length);
}

// For one leaving. Without a cipher there is nothing to lay over it.
export async function ahead(key) {
  if (!key) return null;
  const iv = crypto.getRandomValues(new Uint8Array(12));
  return { iv, stretch: await stretchOf(key, iv, MOST) };
}

// `words`: by name, null for what is dropped. Gives what takes it away again, or null where it has no room.
export function leave(scope, { name: seal, made }, words) {
  const plain = new TextEncoder().encode(JSON.stringify(words));
  if (made && plain.length > MOST) return null;
  const text = made ? { iv: btoa(toText(made.iv)), sealed: btoa(toText(over(plain, made.stretch))) } : { open: words };
  const place = `${STEM}${crypto.getRandomValues(new Uint32Array(2)).join(" ")}`;
  try {
    localStorage.setItem(place, JSON.stringify({ scope, seal, at: Date.now(), ...text }));
  } catch { // full, or kept from writing: what was under way is all that there is
    return null;
  }
  return () => localStorage.removeItem(place);
}

// What pages left, the oldest first: { scope, seal, read(key), end() }.
export function left() {
  const places = Object.keys(localStorage).filter((place) => place.startsWith(STEM));
  const all = places.map((place) => ({ ...JSON.parse(localStorage.getItem(place)), end: () => localStorage.removeItem(place) }));
  return all.sort((a, b) => a.at - b.at).map((one) => ({ ...one, read: (key) => read(one, key) }));
}

async function read({ open, iv, sealed }, key) {
  if (!sealed) return open;
  const closed = toBytes(sealed);
  return JSON.parse(new TextDecoder().decode(over(closed, await stretchOf(key, toBytes(iv), closed.length))));
}

export const isLeft = (place) => place?.startsWith(STEM) ?? false;
