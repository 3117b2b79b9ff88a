// @ts-check
// What the program keeps open under a number while it is worked on: a capture's gate, a blend. It keeps the last few of
// all
// tabs; one that it let go is opened anew.

import { send } from "./server.js";

export class KeptOpen {
  /** @param {"gate" | "blend"} what @param {string[]} words @param {any} opened */
  constructor(what, words, opened) {
    this.what = what;
    this.words = words;
    this.number = opened[what];
  }

  /** @param {"curve" | "sum"} wish @param {any} body @returns {Promise<any>} */
  async ask(wish, body) {
    const asked = () => send(`/api/${this.what}/${wish}`, { [this.what]: this.number, ...body });
    try {
      return await asked();
    } catch (why) {
      if (/** @type {any} */ (why).status !== 404) throw why;
      const again = await send(`/api/${this.what}/open`, { arguments: this.words });
      this.number = again[this.what];
      return asked();
    }
  }
}
