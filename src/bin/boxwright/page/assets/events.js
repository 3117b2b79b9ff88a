// @ts-check
// What the program tells by itself: one JSON object a line, for as long as both live.

import { call } from "./server.js";

/** The program says something every two seconds; after this long without a word it counts as gone. */
const SILENT_MS = 7000;
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 30000;

/**
 * Listens for ever; after a loss it tries again, more and more seldom.
 * @param {(event: any) => void} heard
 * @param {(state: "here" | "lost" | "stranger") => void} connection
 */
export async function listen(heard, connection) {
  let wait_ms = FIRST_WAIT_MS;
  for (;;) {
    try {
      await hear((event) => {
        connection("here");
        wait_ms = FIRST_WAIT_MS;
        heard(event);
      });
    } catch (why) {
      const stranger = /** @type {any} */ (why).status === 401;
      connection(stranger ? "stranger" : "lost");
      if (stranger) return;
    }
    connection("lost");
    await new Promise((done) => setTimeout(done, wait_ms));
    wait_ms = Math.min(LONGEST_WAIT_MS, wait_ms * 2);
  }
}

/** One connection, until it ends. @param {(event: any) => void} heard */
async function hear(heard) {
  const patience = new AbortController();
  let timer = setTimeout(() => patience.abort(), SILENT_MS);
  try {
    const answer = await call("/api/events", { signal: patience.signal });
    const reader = /** @type {ReadableStream<Uint8Array>} */ (answer.body).getReader();
    const decoder = new TextDecoder();
    let rest = "";
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return;
      clearTimeout(timer);
      timer = setTimeout(() => patience.abort(), SILENT_MS);
      const lines = (rest + decoder.decode(value, { stream: true })).split("\n");
      rest = lines.pop() ?? "";
      for (const line of lines) if (line.trim()) heard(JSON.parse(line));
    }
  } finally {
    clearTimeout(timer);
  }
}
