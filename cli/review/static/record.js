// What a person did, on its way into the record: kept in the browser until the desk has kept it, sent in order, and sent again after a
// lost connection. Every act has a token of its own, so one that arrived although its reply was lost is not counted twice.

export function newToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

const LONGEST_WAIT_MS = 5000;
const PATIENCE_MS = 8000;
const SOON_MS = 700;
// Only the desk's own refusal is final. Whatever else comes back (another run, a link that is no longer known, a fault) may change.
const FINAL = [400, 409];
const MOST_FAULTS = 3;

export class Record {
  // `tell(state)` hears { waiting, trouble, status }; `kept(act, reply)` and `refused(act, sentence)` what became of each act.
  constructor(run, { tell, kept, refused }) {
    this.start = `speckwise.${run}.act.`;
    this.tell = tell;
    this.kept = kept;
    this.refused = refused;
    this.acts = this.stored();
    this.sending = false;
    this.wait = 0;
    if (this.acts.length) this.send();
  }

  // Each act is an item of its own, so that two pages of one person do not overwrite each other's.
  stored() {
    try {
      const names = Object.keys(localStorage).filter((name) => name.startsWith(this.start)).sort();
      return names.map((name) => ({ name, ...JSON.parse(localStorage.getItem(name)) }));
    } catch {
      return [];
    }
  }

  put(path, body) {
    const name = `${this.start}${String(Date.now()).padStart(15, "0")}.${body.token}`;
    const act = { name, path, body };
    this.acts.push(act);
    try {
      localStorage.setItem(name, JSON.stringify({ path, body }));
    } catch {
      // A browser without storage keeps them as long as the page is open, which the page asks for.
    }
    setTimeout(() => this.acts.includes(act) && this.say("", 0), SOON_MS);
    this.tell({ waiting: this.acts.length, trouble: "", status: 0, justNow: true });
    this.send();
  }

  say(trouble, status) {
    this.tell({ waiting: this.acts.length, trouble, status, justNow: false });
  }

  get waiting() {
    return this.acts.length;
  }

  // A promise of the moment when nothing is on its way.
  async idle() {
    while (this.acts.length) await new Promise((done) => setTimeout(done, 50));
  }

  async send() {
    if (this.sending) return;
    this.sending = true;
    while (this.acts.length) {
      const act = this.acts[0];
      const outcome = await this.post(act);
      // A fault of the desk itself may last: an act that meets it again and again must not hold up all those behind it.
      act.faults = (act.faults ?? 0) + Number(outcome.status === 500);
      if (outcome.again && act.faults < MOST_FAULTS) {
        this.say(outcome.sentence, outcome.status);
        this.wait = Math.min(LONGEST_WAIT_MS, (this.wait || 250) * 2);
        await new Promise((done) => setTimeout(done, this.wait));
        continue;
      }
      this.wait = 0;
      this.acts.shift();
      try {
        localStorage.removeItem(act.name);
      } catch {
        // As above.
      }
      if (outcome.reply) this.kept(act, outcome.reply);
      else this.refused(act, outcome.sentence);
      this.say("", 0);
    }
    this.sending = false;
  }

  async post(act) {
    try {
      const reply = await fetch(act.path, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(act.body),
        keepalive: true,
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      const told = await reply.json().catch(() => null);
      if (reply.status === 200 && told) return { reply: told };
      return { again: !(told?.error && FINAL.includes(reply.status)), status: reply.status, sentence: told?.error ?? "" };
    } catch {
      return { again: true, status: 0, sentence: "" };
    }
  }
}
