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
