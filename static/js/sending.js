// Changes sent one after another: each waits for the answer to the one before, since it needs the state that one
// left. What doesn't reach the studio stays in line and can be sent again.

export class Sending {
  /** `body` makes the FormData of a wish at the moment it is sent; `answered` takes (response, text, wish). */
  constructor(address, { body, answered, failed }) {
    Object.assign(this, { address, body, answered, failed });
    this.waiting = [];
    this.busy = false;
  }

  send(wish) {
    this.waiting.push(wish);
    this.resume();
  }

  /** Forget what waits: after another page changed the draft it no longer fits. */
  drop() {
    this.waiting = [];
  }

  /** Change what waits, for instance when the answer just read gave a thing another name. */
  rename(change) {
    this.waiting = this.waiting.map(change);
  }

  async resume() {
    if (this.busy) return;
    this.busy = true;
    while (this.waiting.length) {
      const wish = this.waiting[0];
      try {
        const response = await fetch(this.address, {
          method: "POST", body: this.body(wish), headers: { "X-Requested-With": "fetch" }, credentials: "same-origin",
        });
        if (response.redirected || response.status >= 500 || ![200, 409, 422].includes(response.status)) throw new Error(String(response.status));
        const text = await response.text();
        this.waiting.shift();
        this.answered(response, text, wish);
      } catch (error) {
        this.busy = false;
        this.failed(this.waiting.length, error);
        return;
      }
    }
    this.busy = false;
  }
}
