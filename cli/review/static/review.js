// The review as plain values: the steps in order, what was answered, and what a choice of filters leaves. Nothing of the page.

export const OPEN = "";

export class Review {
  constructor(reading, reviewer) {
    this.reading = reading;
    this.reviewer = reviewer;
    this.shots = [];
    this.words = new Map();
    this.told = new Map();
    this.last = 0;
    this.chooseAll();
    this.mine = [];
  }

  // `own(name)`: whether a name is this person's.
  take({ shots, said, last }, own) {
    this.shots = shots;
    this.byName = new Map(shots.map((shot) => [shot.sha256, shot]));
    for (const shot of shots) this.arrange(shot);
    for (const word of said) this.hear(word);
    this.last = last;
    this.steps = this.allSteps();
    // What this person answered before can be undone after a reload too.
    const mine = said.filter((word) => word.answer && own(word.reviewer)).sort((a, b) => a.number - b.number);
    this.mine = mine.map((word) => ({ flag: this.flagOf(word), token: word.token })).filter((each) => each.flag);
  }

  flagOf({ shot, candidate }) {
    return this.byName.get(shot)?.flags.find((flag) => flag.candidate === candidate);
  }

  // Picture order, as the desk sends the tool's flags; what was added since takes its place among them.
  arrange(shot) {
    const row = Math.max(1, shot.high_px / 12);
    shot.flags.sort((a, b) => Math.floor(a.y_px / row) - Math.floor(b.y_px / row) || a.x_px - b.x_px || a.candidate - b.candidate);
    shot.flags.forEach((flag, n) => { flag.place = n + 1; flag.shot = shot; });
  }

  keyOf(flag) {
    return `${flag.shot.sha256}/${flag.candidate}`;
  }

  // The last word by the record's number; one of our own that is still on its way stands until the record answers.
  hear(word) {
    const key = `${word.shot}/${word.candidate}`;
    const known = this.words.get(key);
    if (known && known.number > word.number) return;
    this.put(key, word);
    this.last = Math.max(this.last, Number.isFinite(word.number) ? word.number : 0);
  }

  // Where an answer was taken back, the one that stood before it counts again.
  put(key, word) {
    this.words.set(key, word.stands ? { ...word.stands, number: word.number, token: word.token } : word);
  }

  forget(key, before) {
    if (before) this.words.set(key, before);
    else this.words.delete(key);
  }

  add(shot, flag) {
    const known = shot.flags.find((each) => each.candidate === flag.candidate);
    if (known) return known;
    shot.flags.push(flag);
    this.arrange(shot);
    this.steps = this.allSteps();
    return flag;
  }

  remove({ shot: sha256, candidate }) {
    const shot = this.byName.get(sha256);
    if (!shot?.flags.some((flag) => flag.candidate === candidate)) return false;
    shot.flags = shot.flags.filter((flag) => flag.candidate !== candidate);
    this.arrange(shot);
    this.steps = this.allSteps();
    return true;
  }

  answerTo(flag) {
    return this.words.get(this.keyOf(flag))?.answer || OPEN;
  }

  isOpen(flag) {
    const answer = this.answerTo(flag);
    return answer === OPEN || answer === "look_again";
  }

  allSteps() {
    return this.shots.flatMap((shot) => [{ shot, flag: null }, ...shot.flags.map((flag) => ({ shot, flag }))]);
  }

  get flags() {
    return this.shots.flatMap((shot) => shot.flags);
  }

  get answered() {
    return this.flags.filter((flag) => !this.isOpen(flag)).length;
  }

  sampleOf(shot) {
    return `${shot.facts.lot}\u0000${shot.facts.sample}`;
  }

  // Whether less than everything is gone through.
  choosing() {
    const { shot, sample, kind, open } = this.choice;
    return Boolean(shot || sample || open || kind !== "all");
  }

  chooseAll() {
    this.choice = { shot: "", sample: "", kind: "all", open: false };
  }

  fits(step) {
    const { shot, sample, kind, open } = this.choice;
    if (shot && step.shot.sha256 !== shot) return false;
    if (sample && this.sampleOf(step.shot) !== sample) return false;
    if (!step.flag) return kind === "all" && (!open || !step.shot.looked);
    if (open && !this.isOpen(step.flag)) return false;
    if (kind === "all") return true;
    const word = this.words.get(this.keyOf(step.flag));
    return kind.startsWith("answer:") ? this.answerTo(step.flag) === kind.slice(7) : word?.answer === "insect" && word.kind === kind;
  }

  indexOf(step) {
    return this.steps.findIndex((each) => each.shot === step.shot && each.flag === step.flag);
  }

  // The next step in a direction that fits the choice; null at the end.
  from(step, direction) {
    for (let n = this.indexOf(step) + direction; n >= 0 && n < this.steps.length; n += direction) {
      if (this.fits(this.steps[n])) return this.steps[n];
    }
    return null;
  }

  firstOpen() {
    const open = this.steps.find((step) => (step.flag ? this.isOpen(step.flag) : !step.shot.looked) && this.fits(step));
    return open ?? this.steps.find((step) => this.fits(step)) ?? null;
  }

  // The shots of one piece stand in one row; a shot without a piece is a row of its own.
  rows() {
    const rows = new Map();
    for (const shot of this.shots) {
      const { lot, sample, piece } = shot.facts;
      const key = piece ? `piece ${lot} ${sample} ${piece}` : `shot ${shot.sha256}`;
      if (!rows.has(key)) rows.set(key, []);
      rows.get(key).push(shot);
    }
    return [...rows.values()];
  }
}
