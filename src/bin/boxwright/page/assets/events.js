// @ts-check
// What the program tells by itself: one JSON object a line, for as long as both live.

import { call } from "./server.js";

/** The program says something every two seconds; after this long without a word it counts as gone. */
const SILENT_MS = 7000;
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 30000;

/**
 * A browser keeps six connections to a program for all its tabs: one that nobody sees lets go of its own after this
 * long.
 */
const UNSEEN_MS = 30000;

/**
 * Listens for ever; after a loss it tries again, more and more seldom.
 * @param {(event: any) => void} heard
 * @param {(state: "here" | "lost" | "stranger") => void} connection
 */
export async function listen(heard, connection) {
  let wait_ms = FIRST_WAIT_MS;
  for (;;) {
    await seen();
    try {
      await hear((event) => {
        connection("here");
        wait_ms = FIRST_WAIT_MS;
        heard(event);
      });
    } catch (why) {
      const stranger = /** @type {any} */ (why).status === 401;
      if (stranger) connection("stranger");
      if (stranger) return;
    }
    if (document.hidden) continue;
    connection("lost");
    await new Promise((done) => setTimeout(done, wait_ms));
    wait_ms = Math.min(LONGEST_WAIT_MS, wait_ms * 2);
  }
}

/** When the tab is in sight. @returns {Promise<void>} */
function seen() {
  if (!document.hidden) return Promise.resolve();
  return new Promise((done) => {
    document.addEventListener("visibilitychange", () => done(), { once: true });
  });
}

/** One connection, until it ends. @param {(event: any) => void} heard */
async function hear(heard) {
  const patience = new AbortController();
  let timer = 0;
  const waitAnew = () => {
    clearTimeout(timer);
    timer = setTimeout(() => patience.abort(), document.hidden ? UNSEEN_MS : SILENT_MS);
  };
  const letGo = () => {
    if (document.hidden)
      setTimeout(() => {
        if (document.hidden) patience.abort();
      }, UNSEEN_MS);
  };
  document.addEventListener("visibilitychange", letGo);
  waitAnew();
  try {
    const answer = await call("/api/events", { signal: patience.signal });
    await eachLine(/** @type {ReadableStream<Uint8Array>} */ (answer.body), (line) => {
      waitAnew();
      heard(JSON.parse(line));
    });
  } finally {
    clearTimeout(timer);
    document.removeEventListener("visibilitychange", letGo);
  }
}

/** @param {ReadableStream<Uint8Array>} stream @param {(line: string) => void} each */
async function eachLine(stream, each) {
  const reader = stream.getReader();
  const decoder = new TextDecoder();
  let rest = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    const lines = (rest + decoder.decode(value, { stream: true })).split("\n");
    rest = lines.pop() ?? "";
    for (const line of lines) if (line.trim()) each(line);
  }
}
