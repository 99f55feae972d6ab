// Sentences from the catalogue. Nothing that a person reads stands in the other modules.

let words = {};
let plural = new Intl.PluralRules("en");

export async function loadWords() {
  words = await (await fetch("/words")).json();
  plural = new Intl.PluralRules(words.language);
}

function has(key) {
  return key in words;
}

export function say(key, values = {}) {
  const text = words[key];
  if (text === undefined) throw new Error(`the catalogue lacks ${key}`);
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

// The form of a sentence that goes with a number.
export function sayMany(key, n, values = {}) {
  const form = `${key}.${plural.select(n)}`;
  return say(has(form) ? form : `${key}.other`, { n, ...values });
}

// A word of a list such as body.*; what the catalogue does not know is shown as it stands.
export function wordFor(list, value) {
  return has(`${list}.${value}`) ? say(`${list}.${value}`) : value;
}

// A file's name on its own in a sentence, whatever way it is written; what would turn the text round it is shown as what it is.
export function shownName(name) {
  const shown = name.replace(/[\u202a-\u202e\u2066-\u2069\u0000-\u001f]/g, (c) => `\\u${c.codePointAt(0).toString(16).padStart(4, "0")}`);
  return `\u2068${shown}\u2069`;
}
