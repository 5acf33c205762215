// Ticks and questions are kept in this browser first and then sent. The studio keeps each token once, so that what a
// lost answer makes us send again doesn't count twice. A copy of the page without an address keeps them here only.

const LINE = "passagework-home-line";
const RETRY = 5000; // ms, doubled up to RETRY_AT_MOST while the studio can't be reached
const RETRY_AT_MOST = 60000;

/** A random identifier (UUID 4); crypto.randomUUID needs HTTPS. */
export function makeToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

export function readStore(name, otherwise) {
  try {
    return JSON.parse(localStorage.getItem(name)) ?? otherwise;
  } catch {
    return otherwise;
  }
}

export function writeStore(name, value) {
  try {
    localStorage.setItem(name, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

export class Keeping {
  /** `changed({waiting, state, problem})` is called whenever the line changes; state is sent, waiting, closed or refused. */
  constructor(changed) {
    this.changed = changed;
    this.sending = false;
    this.retry = RETRY;
    window.addEventListener("online", () => this.send());
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.send(); });
  }

  get line() {
    return readStore(LINE, []);
  }

  /** Put something in line for an address and send it when that is possible. Returns false if nothing can be kept. */
  keep(address, fields) {
    const item = { address, fields: { token: makeToken(), made: new Date().toISOString(), ...fields } };
    if (!writeStore(LINE, [...this.line, item])) {
      this.changed({ waiting: this.line.length, state: "full" });
      return false;
    }
    this.changed({ waiting: this.line.length, state: "waiting" });
    this.send();
    return true;
  }

  #drop(token) {
    writeStore(LINE, this.line.filter((item) => item.fields.token !== token));
  }

  async send() {
    if (this.sending) return;
    this.sending = true;
    clearTimeout(this.timer);
    let state = "sent";
    let problem = "";
    let item = this.line[0];
    while (item) {
      try {
        const answer = await fetch(item.address, {
          method: "POST", body: new URLSearchParams(item.fields), headers: { "X-Requested-With": "fetch" }, credentials: "omit",
        });
        if (answer.ok) this.retry = RETRY;
        else if (answer.status === 404) state = "closed";
        else if (answer.status === 422) {
          state = "refused";
          problem = await answer.text();
        } else throw new Error(String(answer.status));
        this.#drop(item.fields.token);
      } catch {
        this.timer = setTimeout(() => this.send(), this.retry);
        this.retry = Math.min(RETRY_AT_MOST, 2 * this.retry);
        state = "waiting";
        break;
      }
      [item] = this.line;
    }
    this.sending = false;
    this.changed({ waiting: this.line.length, state, problem });
  }
}
