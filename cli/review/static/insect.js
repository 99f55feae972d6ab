// The form that is asked for an insect: kind, what is there, how it was looked at. Values only; it knows nothing of the record.

import { say } from "./words.js";

const MOST_ANIMALS = 1000000;

export class InsectForm {
  // `keep(values)`, `cancel()` and `drawRing()` are set by whoever uses it.
  constructor(form) {
    this.form = form;
    this.ring = null;
    form.addEventListener("submit", (event) => { event.preventDefault(); this.submit(); });
    form.addEventListener("change", (event) => {
      // A kind of the list and one in words do not stand together.
      if (event.target.name === "kind") form.elements.other.value = "";
      this.arrange();
    });
    form.elements.other.addEventListener("input", () => { if (form.elements.other.value) form.elements.kind.value = ""; });
    document.getElementById("cancel").addEventListener("click", () => this.cancel());
    document.getElementById("ring").addEventListener("click", () => this.drawRing());
    form.addEventListener("keydown", (event) => {
      const plain = !event.shiftKey && !event.ctrlKey && !event.altKey && !event.metaKey;
      // Enter in a note or on a button means what it always means there.
      if (event.key === "Enter" && plain && event.target.tagName === "INPUT") { event.preventDefault(); this.submit(); }
    });
  }

  get open() {
    return !this.form.hidden;
  }

  // `word`: an earlier answer to start from, or null. `ring`: where the ring of a colony lies unless one is drawn.
  show(word, basis, ring) {
    const { elements } = this.form;
    this.form.reset();
    this.ring = word?.ring ?? ring;
    const kinds = [...elements.kind].map((each) => each.value);
    if (word?.kind && !kinds.includes(word.kind)) elements.other.value = word.kind;
    elements.kind.value = word?.kind && kinds.includes(word.kind) ? word.kind : "";
    elements.body.value = word?.body || "whole";
    elements.basis.value = word?.basis || basis;
    elements.unaided.value = word?.unaided || "not_tried";
    elements.least.value = word?.least ?? "";
    elements.most.value = word?.most ?? "";
    elements.note.value = word?.note ?? "";
    document.getElementById("ring-drawn").textContent = word?.ring ? say("insect.ring_drawn") : "";
    this.say("");
    this.form.hidden = false;
    this.arrange();
    const chosen = [...elements.kind].find((each) => each.checked);
    (chosen ?? elements.kind[0]).focus();
  }

  hide() {
    this.form.hidden = true;
  }

  arrange() {
    const colony = this.form.elements.body.value === "colony";
    document.getElementById("colony").hidden = !colony;
    document.getElementById("colony").disabled = !colony;
  }

  say(sentence) {
    const place = document.getElementById("insect-error");
    place.textContent = sentence;
    place.hidden = !sentence;
  }

  setRing(ring) {
    this.ring = ring;
    document.getElementById("ring-drawn").textContent = say("insect.ring_drawn");
    document.getElementById("keep").focus();
  }

  chooseKind(n) {
    const kinds = [...this.form.elements.kind];
    const chosen = n === 0 ? kinds.at(-1) : kinds[n - 1];
    if (!chosen) return;
    chosen.checked = true;
    this.form.elements.other.value = "";
    chosen.focus();
  }

  submit() {
    const { elements } = this.form;
    const body = elements.body.value;
    const values = {
      answer: "insect",
      kind: elements.other.value.trim() || elements.kind.value,
      body,
      basis: elements.basis.value,
      unaided: elements.unaided.value,
      note: elements.note.value.trim(),
      least: null,
      most: null,
      ring: null,
    };
    if (body === "colony") {
      const [least, most] = [elements.least, elements.most].map((each) => Number(each.value || Number.NaN));
      if (!(Number.isInteger(least) && Number.isInteger(most) && least >= 1 && most >= least && most <= MOST_ANIMALS)) {
        this.say(say("insect.needs_count"));
        elements.least.focus();
        return;
      }
      Object.assign(values, { least, most, ring: this.ring });
    }
    this.keep(values);
  }
}
