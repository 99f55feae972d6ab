// What a person did, on its way into the record: kept in the browser until the desk has kept it, sent in order, and sent again after a
// lost connection. Every act has a token of its own, so one that arrived although its reply was lost is not counted twice.

export function newToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

const LONGEST_WAIT_MS = 5000;
const MOST_FAULTS = 3;

export class Record {
  // `tell(state)` hears { waiting, trouble, justNow }; `kept(act, reply)` and `refused(act, sentence)` what became of each act.
  constructor(run, { tell, kept, refused }) {
    this.place = `speckwise.${run}.waiting`;
    this.tell = tell;
    this.kept = kept;
    this.refused = refused;
    this.acts = this.stored();
    this.sending = false;
    this.wait = 0;
    if (this.acts.length) this.send();
  }

  stored() {
    try {
      const acts = JSON.parse(localStorage.getItem(this.place) ?? "[]");
      return Array.isArray(acts) ? acts : [];
    } catch {
      return [];
    }
  }

  put(path, body) {
    this.acts.push({ path, body });
    this.store();
    this.tell({ waiting: this.acts.length, trouble: "", justNow: true });
    this.send();
  }

  store() {
    try {
      localStorage.setItem(this.place, JSON.stringify(this.acts));
    } catch {
      // A browser without storage keeps them as long as the page is open, which the page asks for.
    }
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
      act.faults = (act.faults ?? 0) + Number(outcome.fault ?? false);
      if (outcome.again && act.faults < MOST_FAULTS) {
        this.tell({ waiting: this.acts.length, trouble: outcome.sentence });
        this.wait = Math.min(LONGEST_WAIT_MS, (this.wait || 250) * 2);
        await new Promise((done) => setTimeout(done, this.wait));
        continue;
      }
      this.wait = 0;
      this.acts.shift();
      this.store();
      if (outcome.reply) this.kept(act, outcome.reply);
      else this.refused(act, outcome.sentence);
      this.tell({ waiting: this.acts.length, trouble: "" });
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
      });
      const told = await reply.json().catch(() => ({}));
      if (reply.status === 200) return { reply: told };
      return { again: reply.status >= 500, fault: reply.status === 500, sentence: told.error ?? "" };
    } catch {
      return { again: true, sentence: "" };
    }
  }
}
